package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A fork that only uses the first side is stopped in mid slew with its leave taken back: wherever it is, it is not on the second, and one place
// held is the true one. The same fork by hand may be over the top.
func TestStoppedOnTheOnlySide(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"reckoned": onlyReckoned, "belief": func(*rig.Rig) {}} {
		for _, share := range []float64{0.1, 0.5, 0.9} {
			n := homedKind(t, rig.Fork, source, inferred, func(r *rig.Rig) { r.Mount.Chooses = rig.FirstOnly })
			n.m.wait(time.Minute)
			n.look()
			from := n.m.axes
			end := n.jog(rig.DegAxes(25, 30))
			n.s.Permit.Action.Kind = question.Slew
			n.m.wait(time.Duration(share * n.s.Permit.MotionS * float64(time.Second)))
			n.m.axes = from.Add(end.Sub(from).Scale(share))
			n.m.doing = question.Moving
			n.look()
			n.s = Withdraw(n.s, "no more", n.m.at)
			for range 2 {
				n.m.wait(2 * time.Second)
				n.m.doing = question.AtRest
				n.look()
			}
			n.honest()
			require.False(t, (&turn{s: n.s, r: n.w.Rig}).heldOn(rig.Second), "%s %v: %+v\n%s", name, share, n.s.Pose, n.said())
			n.wayOut()
		}
	}
}

func TestByHandOverTheTop(t *testing.T) {
	n := homedKind(t, rig.Fork, onlyReckoned, inferred, func(r *rig.Rig) { r.Mount.Chooses = rig.FirstOnly })
	m := &move{x: n.s.Sample, y: n.s.Sample}
	tn := begin(n.w, n.s)
	require.Len(t, tn.sidesTold(m), 2)
	m.permit = &question.Permit{}
	require.Equal(t, []rig.Side{rig.First}, tn.sidesTold(m))
	tn.s.Anchored = append(tn.s.Anchored, question.Candidate{Axes: rig.DegAxes(0, 170)})
	require.Len(t, tn.sidesTold(m), 2, "one place held is over the top")
}
