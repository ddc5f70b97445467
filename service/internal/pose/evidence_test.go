package pose

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The camera looks two degrees beside the tube, as cameras do, and the axes have slipped. Where a solve puts the axes is as unsure as that,
// until accepted solves have shown it.
func TestWhereASolvePutsTheAxes(t *testing.T) {
	for _, dec := range []float64{-10, 40, 75} {
		for _, learnt := range []bool{false, true} {
			for _, beside := range []rig.Axes{rig.DegAxes(0, 2.2), rig.DegAxes(0, -2), rig.DegAxes(1.5, 1.5)} {
				t.Run(fmt.Sprintf("dec %.0f, %s beside, learnt %t", dec, beside, learnt), func(t *testing.T) {
					n := homed(t, withCount).tracked(-30, dec)
					if learnt {
						n.s.Learnt = map[rig.Side]question.Offsets{rig.West: {Axes: beside, Count: 1}}
					}
					slipped := rig.DegAxes(-5, 9)
					n.m.axes, n.m.fault = n.m.axes.Add(slipped), n.m.fault.Add(slipped)
					n.m.wait(2 * time.Second)
					j := n.solved(0, 0)
					j.Solved = n.m.axes.Add(beside)
					j.OffsetSky = n.w.Rig.Chain.Direction(j.Pose).Angle(n.w.Rig.Chain.Direction(j.Solved))
					n.take(Evidence(n.w, n.s, j))
					require.Equal(t, question.Candidates, n.state())
					n.honest()
					require.Less(t, n.s.Pose.Candidates[1].Sigma.A2, 1.1*unit.Degree)
				})
			}
		}
	}
}
