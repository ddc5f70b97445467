package pose

import (
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// pinned lets an accepted solve sharpen a pose that is reckoned: where the settled pointing, which learns nothing there, saw the tube look just
// there, the motions since it last learnt lost no more than that. What they lost before it took for an error of the mount, and says nothing
// of: the pose becomes no sharper than it was then, nor how well the home is known.
func (t *turn) pinned(j question.JudgedSolve, m *pointing.Model) {
	home := t.s.Homing
	if home == nil || t.s.Pose.State != question.Known || t.s.Pose.Source != rig.Reckoned || len(t.s.Anchored) != 1 {
		return
	}
	c := t.s.Anchored[0]
	held := question.Beside(c.Sigma, home.Sigma)
	if j.Confirmed || m.Learns(t.mount(), j.Pose) {
		t.s.Taught = larger(t.s.Taught, held)
		return
	}
	if !m.Vouches(t.mount(), j.Pose, direction(t.r, j.Solved), agreement) {
		return
	}
	beside := smaller(held, larger(t.s.Taught, t.wide(j.Pose, agreement)))
	c.Sigma = rig.Axes{A1: hypot(home.Sigma.A1, beside.A1), A2: hypot(home.Sigma.A2, beside.A2)}
	t.again([]question.Candidate{c})
}
