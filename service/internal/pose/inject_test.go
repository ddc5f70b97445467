package pose

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Somebody else syncs or moves the rig between two quiet samples. Whatever its size, the axes stay one of the places held, and what is
// larger than guiding and dithers is noticed. Below that it is invisible to a rig with belief alone: the README says so.
func TestWhatNobodyAskedForIsNoticed(t *testing.T) {
	for i, v := range variants() {
		t.Run(v.String(), func(t *testing.T) {
			g := rand.New(rand.NewPCG(11, uint64(i)))
			for range 6 {
				n := v.night(t)
				n.home()
				n.tracked(-20-30*g.Float64(), 20*g.Float64())
				n.m.wait(2 * time.Second)
				size := 0.4 + 25*g.Float64()*g.Float64()
				if v.source == rig.UnsyncedBelief || g.IntN(2) == 0 {
					b := n.m.belief()
					n.m.sync(b.Sky.RA, b.Sky.Dec+unit.Deg(size))
				} else {
					size = min(size, 5) // more would be faster than the axes
					n.m.axes = n.m.axes.Add(rig.DegAxes(size, 0))
				}
				n.look()
				require.NotEmpty(t, n.notes, "%.2f° went unnoticed", size)
				if v.source == rig.UnsyncedBelief {
					require.NotEmpty(t, n.s.Doubt, "%.2f°: %s", size, n.said())
				}
			}
		})
	}
}

// Fifty small syncs, each under what is taken for guiding, all one way: the budget of small movements stops them.
func TestSmallStepsAddUp(t *testing.T) {
	n := homed(t).tracked(-30, 40)
	for range 50 {
		n.m.wait(2 * time.Second)
		b := n.m.belief()
		n.m.sync(b.Sky.RA, b.Sky.Dec+0.05*unit.Degree)
		n.look()
	}
	require.Contains(t, n.kinds(), UnaskedMotion)
	require.NotEmpty(t, n.s.Doubt)
}
