package pose

import (
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// pinned lets an accepted solve sharpen a pose that is reckoned: where the settled pointing, which no solve moves any more where it is sure, saw
// the tube look just there, the motions since homing lost no more than that. How well the home is known stays as it was.
func (t *turn) pinned(j question.JudgedSolve, m *pointing.Model) {
	home := t.s.Homing
	if home == nil || t.s.Pose.State != question.Known || t.s.Pose.Source != rig.Reckoned || len(t.s.Anchored) != 1 || j.Confirmed {
		return
	}
	if !m.Vouches(t.mount(), j.Pose, direction(t.r, j.Solved), agreement) {
		return
	}
	c := t.s.Anchored[0]
	beside := smaller(question.Beside(c.Sigma, home.Sigma), t.wide(j.Pose, agreement))
	c.Sigma = rig.Axes{A1: hypot(home.Sigma.A1, beside.A1), A2: hypot(home.Sigma.A2, beside.A2)}
	t.again([]question.Candidate{c})
}
