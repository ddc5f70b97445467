package pose

import (
	"time"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// sameZero is by how much counts or belief may miss at home and all the same say that the zero is the one before. Choice: more than lost steps and
// the roundness of belief, less than a slip that matters.
const sameZero = 0.25 * unit.Degree

// freshAtHome is how old the last sample before a homing is reported may be, to tell where the axes came to. Choice: a person walks to the keyboard.
const freshAtHome = 5 * time.Minute

// mostBefore bounds how many solves in doubt are kept through homings. Choice.
const mostBefore = 16

// rezero is what a homing makes of what was learnt of the pointing. A sensor stops the axes where it did before. After a person's word the readings
// count from another zero, as good as the person says, whatever the pose was held to be: it may have been wrong. But where what the rig itself
// shows came home too, two say the same: the zero is the one before, to what the two differ by (1° at most). Else a walk of solves could begin anew with each
// homing. A person who says how sure the home is says that the marks are other ones.
func (t *turn) rezero(h *question.Homing, x *question.Sample) {
	before := t.s.Homing
	step, sigma, told := t.closes(h, x)
	chained := told && before.Off != nil
	sum := step
	if chained {
		sum = sum.Add(*before.Off)
	}
	atMarks := !h.Sensed && h.Axes == t.r.Home
	switch {
	case atMarks:
		h.Off = &rig.Axes{}
	case chained && !h.Sensed:
		h.Off = &sum
	}
	t.s.Before = t.inDoubt()
	if !told || h.SigmaTold || step.Abs().Max() > sameZero {
		t.s.Before = nil
	}
	t.rezeroDrifts(h, step, told)
	word := larger(h.Sigma, rig.Axes{A1: homeSigma, A2: homeSigma})
	// What lost the count (a clutch that was opened, power) is known, or the person says that the marks are other ones. Homed because solves were held,
	// solves could walk anew after each homing; one alone is no walk.
	anew := h.SigmaTold || before == nil && len(t.inDoubt()) < 2
	by := func(off rig.Axes, known bool) pointing.Step {
		if !known || h.SigmaTold {
			return pointing.Step{Axes: word, Anew: anew}
		}
		return pointing.Step{Axes: smaller(word, rig.Axes{A1: hypot(off.A1, sigma.A1), A2: hypot(off.A2, sigma.A2)})}
	}
	t.repoint(func(m pointing.Model) pointing.Model {
		switch {
		case h.Sensed:
			return m.Sensed(h.Sigma)
		case atMarks:
			return m.Marked(by(step, told), by(sum, chained))
		}
		return m.Stated(by(step, told))
	})
}

// closes is how far, by what the rig itself shows at rest, the axes stand from where a homing says that they are, and how sure that is: by what
// counts, else by belief less the syncs seen. What solves say against the pose does not matter here. Told by the last sample before the report, for the
// one with it may count from home already. False where neither tells.
func (t *turn) closes(h *question.Homing, x *question.Sample) (apart, sigma rig.Axes, told bool) {
	last, before := t.s.Sample, t.s.Homing
	if before == nil || last == nil || !last.Still() || h.At.Sub(last.Time).Abs() > freshAtHome || t.s.Pose.State != question.Known && t.s.Against == 0 {
		return apart, sigma, false
	}
	if x != nil && x.RunMark != last.RunMark {
		return apart, sigma, false
	}
	for _, s := range t.r.Sources {
		zero, had := before.CountZero[s.Kind]
		at, has := reading(last, s.Kind)
		if had && has && !t.distrusted(s.Kind) {
			return at.Sub(zero).Sub(h.Axes), t.sigma(s.Kind, last), true
		}
	}
	v := t.view(last)
	if !v.ok || v.vague() || before.BeliefAxes == nil || !t.syncsKnown(last, last) || t.distrusted(rig.UnsyncedBelief) {
		return apart, sigma, false
	}
	for _, f := range t.formsAnew(question.Candidate{}) { // what was kept from before is in both ends
		if d := t.believedOff(v, f, h.Axes); !told || d.Abs().Max() > apart.Abs().Max() {
			apart, told = d, true
		}
	}
	return apart, larger(t.sigma(rig.UnsyncedBelief, last), rig.Axes{A1: leastMove, A2: leastMove}), told
}

// believedOff is how far belief less the syncs seen stands from a pose, by a form in which the mount keeps its syncs.
func (t *turn) believedOff(v view, f rig.SyncKeeping, from rig.Axes) rig.Axes {
	off := t.s.Homing.BeliefAxes.Sub(t.s.Homing.Axes)
	if f == rig.KeptOnAxes {
		for _, s := range t.s.Steps {
			off = off.Add(s.Axes)
		}
	}
	u := t.undo(f)
	return rig.LiftNear(t.axes(v, u, t.sideAt(v, u, from)).Sub(off), from).Sub(from)
}

// inDoubt are the solves that told against the pose and were not settled, with those kept from before.
func (t *turn) inDoubt() []question.JudgedSolve {
	out := t.s.Unsettled(question.JudgedSolve.InDoubt)
	return out[max(0, len(out)-mostBefore):]
}
