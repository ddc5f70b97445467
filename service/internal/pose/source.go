package pose

import (
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// counted tells whether a source reads the axes or their motors by itself, so that it can tell a motion from a sync.
func counted(k rig.SourceKind) bool { return k == rig.AxisEncoder || k == rig.MotorCount }

// reading returns a sample's angles from one source.
func reading(x *question.Sample, k rig.SourceKind) (rig.Axes, bool) {
	for _, r := range x.Readings {
		if r.Source == k {
			return r.Axes, true
		}
	}
	return rig.Axes{}, false
}

// best returns the best source that the file declares, that may be followed, and that both samples show. With none it is
// reckoned: the ends of past motions.
func (t *turn) best(x, y *question.Sample, vx, vy view) rig.SourceKind {
	for _, s := range t.r.Sources {
		if t.distrusted(s.Kind) {
			continue
		}
		switch {
		case counted(s.Kind):
			_, a := reading(x, s.Kind)
			_, b := reading(y, s.Kind)
			if a && b {
				return s.Kind
			}
		case s.Kind == rig.UnsyncedBelief && vx.ok && vy.ok && !vx.vague() && !(vy.vague() && y.Still()) && t.mapTold(x) && t.mapTold(y) && t.syncsKnown(x, y):
			return s.Kind
		}
	}
	return rig.Reckoned
}

// declares tells whether the file declares a source that may be followed.
func (t *turn) declares(k rig.SourceKind) bool {
	return !t.distrusted(k) && slices.ContainsFunc(t.r.Sources, func(s rig.Source) bool { return s.Kind == k })
}

// syncsKnown tells whether every sync between two samples would be known, so that belief less its syncs is a pose: the mount keeps
// no model, and counts its syncs or is synced by nobody else.
func (t *turn) syncsKnown(x, y *question.Sample) bool {
	m := t.r.Mount
	if m.Sync == rig.KeptInModel {
		return false
	}
	return m.NobodyElseSyncs || m.CountsSyncs && x.SyncCount != nil && y.SyncCount != nil
}

// mapTold tells whether what the mount's map goes by at a sample was told, of one whose turns depend on it: by a wrong sidereal time or latitude an
// alt-azimuth's belief says other turns than it made. What an equatorial's clock is off by drops out of every difference.
func (t *turn) mapTold(x *question.Sample) bool {
	return t.r.Kind != rig.AltAzimuth || (x.Sidereal != nil || t.s.Ahead != nil) && (x.Site != nil || t.s.Site != nil)
}

// clockKept forgets what somebody told of the clock of an alt-azimuth that cannot tell it, where after a motion belief did not turn as the axes did, or the
// motion was unasked: it may have been set meanwhile, and between two samples at rest alone that shows as a step.
func (t *turn) clockKept(m *move) {
	if m.y.Still() && !(m.permit != nil && counted(m.kind) && m.believed && t.beliefAgrees(m, t.strands(m)[0].places[0].Axes, "")) {
		t.forgetClock(m.y)
	}
}

// forgetClock is what such a motion leaves at a sample that does not tell the clock itself.
func (t *turn) forgetClock(y *question.Sample) {
	if t.r.Kind != rig.AltAzimuth || t.r.Mount.TellsSidereal || y.Sidereal != nil || t.s.Ahead == nil {
		return
	}
	t.s.Ahead = nil
	t.say(ActTaken, "", "what was told of the mount's sidereal time counts no more: after this motion nothing shows that its clock was not set meanwhile; tell it again")
}

// lostPerMotion is what a motion may lose, one standard deviation, where the pose is reckoned and no closure has shown it.
// Common practice, no source.
const lostPerMotion = 0.2 * unit.Degree

// sigma is a source's own uncertainty: the larger of the file's and the sample's, and for a count no less than what the last
// closure showed it to lose.
func (t *turn) sigma(k rig.SourceKind, x *question.Sample) rig.Axes {
	var out rig.Axes
	for _, s := range t.r.Sources {
		if s.Kind == k {
			out = s.Sigma
		}
	}
	if x != nil {
		for _, r := range x.Readings {
			if r.Source == k && r.Sigma != nil {
				out = larger(out, *r.Sigma)
			}
		}
	}
	if h := t.s.Homing; k == rig.MotorCount && h != nil && h.Closure != nil {
		out = larger(out, h.Closure.Abs())
	}
	return out
}

// larger takes the larger of each axis.
func larger(a, b rig.Axes) rig.Axes { return rig.Axes{A1: max(a.A1, b.A1), A2: max(a.A2, b.A2)} }

// shift is the sum of the syncs on the sky since the last homing.
func (t *turn) shift() (sum [2]unit.Angle) {
	for _, s := range t.s.Steps {
		sum[0] += s.Sky[0]
		sum[1] += s.Sky[1]
	}
	return sum
}

// forms are the ways in which a candidate's syncs are undone: as the file says, or both where it does not, unless the candidate
// stands for one already. With no sync on record there is nothing to undo. Syncs from before the homing, where the mount may have kept them, make one more.
func (t *turn) forms(c question.Candidate) []rig.SyncKeeping {
	if t.s.Kept == nil || !t.r.Mount.Sync.MaybeOnSky() || c.Kept == rig.KeptAnew {
		if c.Kept == rig.KeptAnew {
			c.Kept = ""
		}
		return t.formsAnew(c)
	}
	switch {
	case c.Kept != "":
		return []rig.SyncKeeping{c.Kept}
	case len(t.s.Steps) == 0:
		return []rig.SyncKeeping{rig.KeptAnew, rig.KeptSince}
	}
	return append(t.formsAnew(c), rig.KeptSince)
}

// formsAnew are those of the syncs since the homing.
func (t *turn) formsAnew(c question.Candidate) []rig.SyncKeeping {
	switch {
	case len(t.s.Steps) == 0 || t.r.Mount.Sync == rig.NotKept:
		return []rig.SyncKeeping{rig.KeptOnAxes}
	case c.Kept != "":
		return []rig.SyncKeeping{c.Kept}
	case t.r.Mount.Sync == rig.KeptUnknown:
		return []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky}
	}
	return []rig.SyncKeeping{t.r.Mount.Sync}
}

// undo is what a form of keeping takes off the belief before it is mapped. An offset of the counters needs nothing: it is in both
// ends of every difference.
func (t *turn) undo(f rig.SyncKeeping) [2]unit.Angle {
	switch f {
	case rig.KeptOnSky:
		return t.shift()
	case rig.KeptSince:
		sum := t.shift()
		if k := t.s.Kept; k != nil {
			sum[0], sum[1] = sum[0]+k[0], sum[1]+k[1]
		}
		return sum
	case rig.KeptOnAxes, rig.KeptAnew, rig.KeptUnknown, rig.KeptInModel, rig.NotKept:
	}
	return [2]unit.Angle{}
}

// turned is by how much the belief says that a pose turned between two views, ending on a side, on the turn nearest to none: where it may
// say two things, the lesser.
func (t *turn) turned(a rig.Axes, f rig.SyncKeeping, vx, vy view, side rig.Side) rig.Axes {
	all := t.turns(a, f, vx, vy, side)
	least := all[0]
	if len(all) > 1 && t.nearEnd(a) { // where the sides meet, the nearer of the second is not that of the first
		all = append(all, t.turns(a, f, vx, vy, side.Other())[1])
	}
	if vx.blind() && vy.blind() { // nothing tells the sides apart
		all = append(all, t.turns(a, f, vx, vy, side.Other())...)
	}
	for _, by := range all[1:] {
		if by.Abs().Max() < least.Abs().Max() {
			least = by
		}
	}
	return least
}

// turns is all that the belief may say of how a pose turned between two views, ending on a side.
func (t *turn) turns(a rig.Axes, f rig.SyncKeeping, vx, vy view, side rig.Side) []rig.Axes {
	return t.turnsFrom(t.stands(a, f, vx), f, vy, side)
}

// stands is what the belief of a view, its syncs undone, makes of the axes, were they at a pose.
func (t *turn) stands(a rig.Axes, f rig.SyncKeeping, v view) rig.Axes {
	u := t.undo(f)
	if v.blind() { // of axis 1 the pose itself
		return rig.Axes{A1: a.A1, A2: t.axes(v, u, t.r.Kind.SideOf(a)).A2}
	}
	at := t.axes(v, u, t.sideAt(v, u, a))
	if over, ok := t.overPole(v, u); ok {
		b := t.axes(over, u, t.sideAt(over, u, a))
		if rig.LiftNear(b, a).Sub(a).Abs().Max() < rig.LiftNear(at, a).Sub(a).Abs().Max() {
			return b
		}
	}
	return at
}

// turnsFrom is all that a belief may say of a turn from where it stood, ending on a side. Syncs kept on the sky may push a belief over the
// pole, where declination is told as if it came from below: less its syncs it then stands for two places.
func (t *turn) turnsFrom(from rig.Axes, f rig.SyncKeeping, v view, side rig.Side) []rig.Axes {
	u := t.undo(f)
	if v.blind() {
		return []rig.Axes{{A2: (t.axes(v, u, side).A2 - from.A2).Wrapped()}}
	}
	out := []rig.Axes{rig.LiftNear(t.axes(v, u, side), from).Sub(from)}
	if over, ok := t.overPole(v, u); ok {
		out = append(out, rig.LiftNear(t.axes(over, u, side), from).Sub(from))
	}
	return out
}

// standsAcross is where else a belief may have stood: off a pose that is near the end of axis 1, its side not told, it may have been on either.
func (t *turn) standsAcross(a rig.Axes, f rig.SyncKeeping, v view) (rig.Axes, bool) {
	at := t.stands(a, f, v)
	told := t.r.Mount.SideSensed && v.x.Belief.Side != ""
	off := direction(t.r, at).Angle(direction(t.r, a))
	if told || !t.r.Kind.Equatorial() || off <= leastMove || !t.nearEnd(a) || !t.astrayReaches(at) {
		return at, false
	}
	return t.axes(v, t.undo(f), t.r.Kind.SideOf(at).Other()), true
}

// quietSide is the side that a quiet belief stands for: the one told, where it is sensed and another than before; else the pose's. A
// candidate that lies on another side than the one told all along does not turn over to it while nothing moves; nor where the sample before
// told none and another candidate lies on the side told now. Near the end of axis 1, where the sides meet, it is the one on which the belief,
// its syncs undone, turned least.
func (t *turn) quietSide(a rig.Axes, f rig.SyncKeeping, vx, vy view) rig.Side {
	told, before := vy.x.Belief.Side, vx.x.Belief.Side
	if t.r.Mount.SideSensed && told != "" && told != before && !t.nearEnd(a) && (before != "" || !t.heldOn(told)) {
		return told
	}
	u := t.undo(f)
	if !t.nearEnd(a) {
		return t.sideAt(vx, u, a)
	}
	return t.sideNearest(vy, u, t.axes(vx, u, t.sideAt(vx, u, a)))
}

// heldOn tells whether any of the places held lies on a side.
func (t *turn) heldOn(side rig.Side) bool {
	for _, c := range t.s.Anchored {
		if t.r.Kind.SideOf(c.Axes) == side {
			return true
		}
	}
	return false
}
