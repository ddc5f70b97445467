package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// strayed tells whether belief, the only source, did something under way that no permitted motion does, or points elsewhere than a place held
// by more than lawful syncs: what it turns is then no measure of what the axes turn, and the whole way counts.
func (t *turn) strayed(m *move) bool {
	if m.permit == nil || counted(m.kind) {
		return false
	}
	return t.s.Doubt != "" && (m.permit.State == question.Withdrawn || t.s.Against == 0) || t.beliefAstray(m)
}

// astray is how far belief may be from a place by lawful syncs: the loosest limit sync/sum axis_deg on both axes together, rounded up.
const astray = 15 * unit.Degree

// beliefAstray tells whether belief pointed, as the motion began, further from some place held than lawful syncs explain: a mount that lost its
// count believes that it is at home, and its belief stands on a side of its own.
func (t *turn) beliefAstray(m *move) bool {
	if !m.believed {
		return false
	}
	for _, c := range t.s.Anchored {
		if direction(t.r, c.Axes).Angle(direction(t.r, c.Axes.Add(t.offset(m.vx, c.Axes)))) > astray {
			return true
		}
	}
	return false
}

// unasked settles where a motion without a permit came to rest.
func (t *turn) unasked(m *move) {
	var cands []question.Candidate
	for _, s := range t.strands(m) {
		cands = append(cands, s.places...)
	}
	c := t.s.Anchored[0]
	if len(cands) > 0 && counted(m.kind) {
		t.unaskedCounted(m, cands)
		return
	}
	cands = t.sameSide(m, cands)
	drift, allowed := t.drift(c.Axes, m.x, m.y), t.tolerance(c.Axes, m.x, m.y)
	if len(cands) > 0 && !beyond(excess(nearest(cands, c.Axes).Axes.Sub(c.Axes), drift), allowed) && t.s.Doubt == "" {
		t.anchorAt(m.y, []question.Candidate{nearest(cands, c.Axes)}, m.kind) // it said that it moved, and is where it was
		return
	}
	t.s.Motions++
	if len(cands) == 0 || t.beliefAstray(m) {
		t.unfollowed(m, cands)
		return
	}
	t.noticeMotion("the belief moved")
	t.doubt("the belief moved without a permit: a motion or a sync")
	for _, c := range t.s.Anchored {
		cands = append(cands, t.drifted(c, m.x, m.y))
	}
	t.anchorAt(m.y, cands, m.kind)
}

// unfollowed: the rig moved, nobody permitted it, and nothing shows how far: it is as far as the axes turn in that time, or, if that is
// anywhere, nowhere that is known.
func (t *turn) unfollowed(m *move, cands []question.Candidate) {
	t.noticeMotion("the rig reported that it moved")
	t.doubt("the rig moved without a permit, and nothing shows how far")
	far := t.fastest(m.x, m.y)
	if far.Max() >= unit.HalfTurn {
		t.lose(t.s.Doubt)
		return
	}
	for _, c := range t.s.Anchored {
		c = t.drifted(c, m.x, m.y)
		cands = append(cands, over(c, c.Axes.Sub(far), c.Axes.Add(far)))
	}
	t.anchorAt(m.y, cands, m.kind)
}

// unaskedCounted follows what a source that reads the axes shows.
func (t *turn) unaskedCounted(m *move, cands []question.Candidate) {
	if t.leaps(m, m.last, cands[0].Axes) {
		t.jumped(m, cands)
		return
	}
	t.s.Motions, t.s.Crept = t.s.Motions+1, rig.Axes{}
	t.anchorAt(m.y, cands, m.kind)
}

// sameSide drops, where nothing meant to change sides, the places on another side than any anchored one, unless a hand controller may have
// taken the rig across: from there the axes reach them in the time. The mount's own flips are looked for apart.
func (t *turn) sameSide(m *move, cands []question.Candidate) []question.Candidate {
	if t.r.Mount.FlipsItself {
		return cands
	}
	far := t.fastest(m.x, m.y)
	var out []question.Candidate
	for _, c := range cands {
		for _, a := range t.s.Anchored {
			if t.r.Kind.SideOf(a.Axes) == t.r.Kind.SideOf(c.Axes) || t.nearEnd(a.Axes) || !beyond(c.Axes.Sub(a.Axes), far) {
				out = append(out, c)
				break
			}
		}
	}
	return out
}

// selfFlip keeps both sides where a mount that flips by itself passed the hour angle of its flip unseen.
func (t *turn) selfFlip(q *still) {
	if !t.r.Mount.FlipsItself || t.r.Kind != rig.German || counted(q.kind) || q.y.Doing != question.Tracking {
		return
	}
	if t.r.Mount.SideSensed && q.y.Belief != nil && q.y.Belief.Side != "" {
		return
	}
	cands := t.s.Anchored
	for _, c := range t.s.Anchored {
		h, dec, side := t.r.Kind.FromIdeal(c.Axes, t.r.Site.Lat)
		past := (h - t.r.Mount.FlipAt).Wrapped()
		dt := t.follow(c.Axes, when(q.x), when(q.y)).A1
		if past < 0 || past > dt+2*wiggle || side != rig.West {
			continue
		}
		other := t.r.Lifts(t.r.Kind.Ideal(h, dec, t.r.Site.Lat, rig.East), c.Axes)
		c.Axes, c.Solve = other[0], ""
		c.Because = "the mount may have flipped by itself: a sensed side, a count or a solve's camera angle tells"
		cands = append(cands, c)
	}
	if len(cands) > len(t.s.Anchored) {
		t.say(SideOpen, "", "the mount may have flipped by itself at hour angle %.1f°", t.r.Mount.FlipAt.Deg())
		t.anchorAt(q.y, cands, q.kind)
	}
}
