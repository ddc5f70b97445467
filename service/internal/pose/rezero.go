package pose

import (
	"slices"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// sameZero is by how much counts or belief may miss at home and all the same say that the zero is the one before. Choice: more than lost steps and
// the roundness of belief, less than a slip that matters.
const sameZero = 0.25 * unit.Degree

// mostBefore bounds how many solves in doubt are kept through homings. Choice.
const mostBefore = 16

// rezero is what a homing makes of what was learnt of the pointing. A sensor stops the axes where it did before. After a person's word the readings
// count from another zero, as good as the person says, whatever the pose was held to be: it may have been wrong. But where what the rig itself
// shows came home too, two say the same: the zero is the one before, to what the two differ by. Else a walk of solves could begin anew with each
// homing. A person who says how sure the home is knows more than either.
func (t *turn) rezero(h *question.Homing) {
	before := t.s.Homing
	apart, sigma, told := t.closes(h)
	atMarks := !h.Sensed && h.Axes == t.r.Home
	chained := told && before.Off != nil
	if chained {
		apart = apart.Add(*before.Off)
	}
	switch {
	case atMarks:
		h.Off = &rig.Axes{}
	case chained && !h.Sensed:
		h.Off = &apart
	}
	t.s.Before = t.inDoubt()
	if !told || apart.Abs().Max() > sameZero {
		t.s.Before = nil
	}
	moved := h.Sigma
	if !h.SigmaTold && told && (chained || before.Sensed) {
		moved = smaller(moved, rig.Axes{A1: hypot(apart.A1, sigma.A1), A2: hypot(apart.A2, sigma.A2)})
	}
	t.repoint(func(m pointing.Model) pointing.Model {
		switch {
		case h.Sensed:
			return m.Sensed(h.Sigma)
		case atMarks:
			return m.Marked(moved)
		}
		return m.Stated(moved)
	})
}

// closes is how far, by what the rig itself shows at rest, the axes stand from where a homing says that they are, and how sure that is: by what
// counts, else by belief less the syncs seen. What solves say against the pose does not matter here. False where neither tells.
func (t *turn) closes(h *question.Homing) (apart, sigma rig.Axes, told bool) {
	last, before := t.s.Sample, t.s.Homing
	if before == nil || last == nil || !last.Still() || t.s.Pose.State != question.Known && t.s.Against == 0 {
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
	if !v.ok || before.BeliefAxes == nil || t.r.Mount.Sync == rig.KeptInModel {
		return apart, sigma, false
	}
	for _, f := range t.forms(question.Candidate{}) {
		if d := t.believedOff(v, f, h.Axes); !told || d.Abs().Max() > apart.Abs().Max() {
			apart, told = d, true
		}
	}
	return apart, t.sigma(rig.UnsyncedBelief, last), told
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
	out := slices.Clone(t.s.Before)
	for _, j := range t.s.Solves {
		if j.InDoubt() {
			out = append(out, j)
		}
	}
	return out[max(0, len(out)-mostBefore):]
}
