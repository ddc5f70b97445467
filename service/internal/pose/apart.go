package pose

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Two sources that read the axes are compared by what each turned since both were first seen after a homing: an encoder on the axis, and a count,
// which may sit behind a clutch. Readings under way are of different instants, so only samples that are still are compared.

// apartBeyond is what two sources may turn differently beside three standard deviations of each: the play of the gears between them and the
// roundness of readings. Common practice, no source.
const apartBeyond = 0.1 * unit.Degree

// readApart is how long apart the readings of one sample may be taken. Common practice, no source.
const readApart = 2 * time.Second

// apart is two sources of a sample that turned differently.
type apart struct {
	was         *question.RigState // before this sample was taken in
	x           *question.Sample
	best, other rig.Source
	beside, off rig.Axes // reading of the best less that of the other when they agreed, and how much more it is now
}

// trusted are the sources that read the axes and may be followed, best first, of those that a sample shows.
func (t *turn) trusted(x *question.Sample) (out []rig.Source) {
	for _, s := range t.r.Sources {
		if _, ok := reading(x, s.Kind); ok && counted(s.Kind) && !t.distrusted(s.Kind) {
			out = append(out, s)
		}
	}
	return out
}

// distrusted tells whether a source moved with a sync once, or parted from a better one since the last homing.
func (t *turn) distrusted(k rig.SourceKind) bool {
	return t.s.Demoted[k] != "" || t.s.Parted[k] != ""
}

// part stops trusting a source until the next homing, where the file declares it.
func (t *turn) part(k rig.SourceKind, why string) {
	if t.s.Parted[k] != "" || !listed(t.r, k) {
		return
	}
	if t.s.Parted == nil {
		t.s.Parted = map[rig.SourceKind]string{}
	}
	t.s.Parted[k], t.raised = why, true
}

// partMotorSide stops trusting all that reads on the motor's side of the clutch until the next homing; belief does, whatever the file says.
func (t *turn) partMotorSide(why string) {
	for _, s := range t.r.Sources {
		if s.MotorSide || s.Kind == rig.UnsyncedBelief {
			t.part(s.Kind, why)
		}
	}
}

// compareSources looks for sources that contradict each other, once the pose was carried to a sample by the best of them.
func (t *turn) compareSources(was *question.RigState, x *question.Sample) {
	if was.Anchor == nil || t.s.Anchor == nil { // what is counted from is new, or gone
		t.s.Beside = nil
	}
	if !x.Still() || t.s.Anchor == nil {
		return
	}
	all := t.trusted(x)
	t.allSilent(all)
	if len(all) < 2 {
		return
	}
	now := between2(x, all)
	if t.s.Beside == nil {
		t.s.Beside = &now
		return
	}
	p := apart{was: was, x: x, best: all[0], other: all[1], beside: *t.s.Beside, off: now.Sub(*t.s.Beside)}
	if beyond(p.off, t.mayPart(p)) {
		t.s.Beside = &now
		t.parted(p)
	}
}

// between2 is the reading of the best source less that of the next.
func between2(x *question.Sample, all []rig.Source) rig.Axes {
	a, _ := reading(x, all[0].Kind)
	b, _ := reading(x, all[1].Kind)
	return a.Sub(b)
}

// mayPart is what two sources may turn differently: three standard deviations of each, apartBeyond, and what following the sky turns between
// two readings of one sample.
func (t *turn) mayPart(p apart) rig.Axes {
	slack := rig.Axes{A1: apartBeyond, A2: apartBeyond}
	if p.x.Doing == question.Tracking {
		slack = slack.Add(t.follow(t.s.Anchored[0].Axes, when(p.x), when(p.x).Add(readApart)).Abs())
	}
	return slack.Add(question.Sigma3(t.sigma(p.best.Kind, p.x))).Add(question.Sigma3(t.sigma(p.other.Kind, p.x)))
}

// parted: an encoder on the axis is right against a count on the motor's side of the clutch, which slipped or lies. Where that is not sure, the
// place by each counts. In any case nothing goes by that count any more before the next homing.
func (t *turn) parted(p apart) {
	t.raised = true
	if p.other.MotorSide {
		t.part(p.other.Kind, sprintf("off by %s against the %s at %s", p.off.Scale(-1), p.best.Kind, hms(when(p.x))))
	}
	if p.other.MotorSide && !p.best.MotorSide && t.axisIsRight(p) {
		t.say(Apart, string(p.other.Kind), "the %s is off by %s against the %s: a clutch slipped, or it lies; it is no source of the pose before the next homing", p.other.Kind, p.off.Scale(-1), p.best.Kind)
		return
	}
	t.alarm(Apart, string(p.other.Kind), "the %s and the %s turned differently by %s: which of them is right is not known: home the axes, or state where they are", p.best.Kind, p.other.Kind, p.off)
	t.doubt("the %s and the %s turned differently by %s", p.best.Kind, p.other.Kind, p.off)
	t.anchorAt(p.x, t.placesOfBoth(p), p.best.Kind)
}

// axisIsRight tells whether the best source may be followed against the other: it was followed hither, what it did made no doubt, and it did
// not hang. One that was silent for a while may have lost its own count.
func (t *turn) axisIsRight(p apart) bool {
	newDoubt := t.s.Doubt != "" && p.was.Doubt == ""
	jumped := slices.ContainsFunc(t.notes, func(n Notice) bool { return n.Kind == Jump })
	return t.s.Pose.Source == p.best.Kind && !newDoubt && !jumped && !t.hangs(p)
}

// hangs tells whether the best source stood while the other turned, and belief does not bear it out: it may be a driver that repeats itself.
func (t *turn) hangs(p apart) bool {
	mine, ok1 := turnedBy(p.was.Anchor, p.x, p.best.Kind)
	its, ok2 := turnedBy(p.was.Anchor, p.x, p.other.Kind)
	stood := mine.Abs().A1 <= leastMove && its.Abs().A1 > leastMove || mine.Abs().A2 <= leastMove && its.Abs().A2 > leastMove
	if !ok1 || !ok2 || !stood || t.syncedSince(p) {
		return false
	}
	vx, vy := t.view(p.was.Anchor), t.view(p.x)
	if !vx.ok || !vy.ok || vx.vague() || vy.vague() {
		return true
	}
	at := p.was.Anchored[0].Axes
	belief := t.turned(at, rig.KeptOnAxes, vx, vy, t.quietSide(at, rig.KeptOnAxes, vx, vy))
	return beyond(belief.Sub(mine), t.tolerance(at, p.was.Anchor, p.x))
}

// syncedSince tells whether the mount was synced for certain between the anchor and a sample: then a count that moved with belief is no witness.
func (t *turn) syncedSince(p apart) bool {
	if t.told != nil && !t.told.refused || t.syncsCounted(p.was.Anchor, p.x) > 0 {
		return true
	}
	n := len(t.s.Steps)
	return n > len(p.was.Steps) && t.s.Steps[n-1].Asked
}

// turnedBy is by how much a source turned between two samples that both show it.
func turnedBy(x, y *question.Sample, k rig.SourceKind) (rig.Axes, bool) {
	a, ok1 := reading(x, k)
	b, ok2 := reading(y, k)
	return b.Sub(a), ok1 && ok2
}

// placesOfBoth are the places held, and those that the other source would have, or the best one if it was not followed hither.
func (t *turn) placesOfBoth(p apart) []question.Candidate {
	out := slices.Clone(t.s.Anchored)
	add := func(c question.Candidate, by rig.Axes) {
		c.Axes = c.Axes.Add(by)
		out = append(out, c)
	}
	if t.s.Pose.Source != p.best.Kind {
		for _, c := range t.s.Anchored {
			add(c, p.off)
		}
	}
	its, ok := turnedBy(p.was.Anchor, p.x, p.other.Kind)
	if _, both := reading(p.was.Anchor, p.best.Kind); ok && both { // the places at the anchor are those by the best one
		for _, c := range p.was.Anchored {
			add(c, its.Sub(between2(p.was.Anchor, []rig.Source{p.best, p.other}).Sub(p.beside)))
		}
	} else if t.s.Pose.Source != p.other.Kind {
		for _, c := range t.s.Anchored {
			add(c, p.off.Scale(-1))
		}
	}
	return out
}

// allSilent: no source that may be followed reads the axes any more, and one that might have stood in is off, if the file still declares it.
// What is left, belief or the ends of past motions, goes with the motors.
func (t *turn) allSilent(all []rig.Source) {
	if len(all) > 0 || len(t.s.Parted) == 0 || t.s.Doubt != "" || len(t.s.Pose.Candidates) == 0 {
		return
	}
	for _, s := range t.r.Sources {
		if why := t.s.Parted[s.Kind]; why != "" {
			t.alarm(Apart, string(s.Kind), "nothing reads the axes any more, and the %s is no source (%s): home the axes, or state where they are", s.Kind, why)
			t.doubt("nothing reads the axes, and the %s is no source (%s)", s.Kind, why)
			t.s.Pose.State, t.s.Pose.Because = question.Candidates, t.s.Doubt
			return
		}
	}
}

// passesBy tells whether a sample of another program, which reads none of the axes where nothing else may stand in for what does, is left aside:
// the next one of who reads them is awaited, for as long as a sample is fresh. The pose grows old meanwhile, and who asks with such a one is
// held. What moves, what a permit moved and what shows a restart is taken in.
func (t *turn) passesBy(x *question.Sample) bool {
	a, last := t.s.Anchor, t.s.Sample
	if len(t.s.Parted) == 0 || t.s.Doubt != "" || t.told != nil || a == nil || last == nil || x.Asker == a.Asker {
		return false
	}
	if !a.Still() || !last.Still() || !x.Still() || t.mayHaveMoved() || t.rerun(x) || t.resetSigns(x) != "" {
		return false
	}
	if len(t.trusted(a)) == 0 || len(t.trusted(x)) > 0 || when(x).Sub(when(a)) > fresh {
		return false
	}
	t.say(Ignored, x.Asker, "the sample of %s reads none of the axes, which that of %s did; it is not taken in: ask with one that does", hms(when(x)), hms(when(a)))
	return true
}

// rerun tells whether a sample is of another run of the mount than the count.
func (t *turn) rerun(x *question.Sample) bool {
	was := t.runMark()
	return was != "" && x.RunMark != "" && was != x.RunMark
}
