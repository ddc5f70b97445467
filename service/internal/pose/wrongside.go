package pose

import (
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// wrongSide is what is wrong with the side that a sample tells, empty: nothing. A mount that only uses its first side says that it stands on the
// second, where neither a place held is nor a permitted motion leads. Where the side is sensed, the belief goes with it: through the one solution
// the mount points elsewhere than through the other.
func (t *turn) wrongSide(x *question.Sample) string {
	second := t.r.Kind.Sides()[1]
	if t.r.Mount.Chooses != rig.FirstOnly || x.Belief == nil || x.Belief.Side != second || t.heldOn(second) {
		return ""
	}
	if v := t.view(x); v.ok && FromEnd(t.r, t.axes(v, [2]unit.Angle{}, second)) < polar { // where the sides meet, noise tells either
		return ""
	}
	if p := t.s.Permit; p != nil && slices.ContainsFunc(p.Ends, func(a rig.Axes) bool { return t.r.Kind.SideOf(a) == second }) {
		return ""
	}
	why := "the mount says that its tube is on the second side, and the rig file that it only uses the first"
	if t.r.Mount.SideSensed {
		x.Belief, x.Unbelieved = nil, why
	}
	return why
}

// sidesApart says that a side told cannot be, once in a row. Where it is sensed, and nothing else reads the axes, the mount may have been taken over
// the top by hand, and they may be anywhere.
func (t *turn) sidesApart(x *question.Sample, why string) {
	last := t.s.Sample
	again := last != nil && (last.Unbelieved != "" || last.Belief != nil && last.Belief.Side == t.r.Kind.Sides()[1])
	switch {
	case again:
	case t.r.Mount.SideSensed:
		t.say(SideOpen, x.Asker, "%s: its belief is not held; mend side_chosen_by in the file, or have the asker tell the side that is sensed", why)
	default:
		t.say(SideOpen, x.Asker, "%s: the side, which is not sensed, counts for nothing; mend side_chosen_by in the file, or have the asker leave the side out", why)
	}
	if !t.r.Mount.SideSensed || len(t.trusted(x)) > 0 || len(t.s.Anchored) == 0 {
		return
	}
	t.doubt("%s: home, or state where the axes are", why)
	if t.s.Pose.State == question.Known {
		t.s.Pose.State, t.s.Pose.Because = question.Candidates, t.s.Doubt
	}
}
