package pose

import (
	"math/rand/v2"
	"testing"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/unit"
)

// Somebody else syncs the mount in the middle of a permitted slew. Wherever that is, and wherever the slew then ends, the axes are at one of
// the places held.
func TestSyncedByAnotherUnderWay(t *testing.T) {
	for i, v := range variants() {
		t.Run(v.String(), func(t *testing.T) {
			g := rand.New(rand.NewPCG(23, uint64(i)))
			for range 4 {
				n := v.night(t)
				n.home()
				h, dec := n.reachable(g)
				n.tracked(h, dec)
				h, dec = n.reachable(g)
				ra, d := n.target(h, dec)
				n.look()
				n.grant(ra, d, sideFor(n.w.Rig.Kind, h), 0)
				end := n.m.goal(ra, d, sideFor(n.w.Rig.Kind, h), n.m.at.Add(20*time.Second))
				part := 0.1 + 0.8*g.Float64()
				middle := n.m.axes.Add(end.Sub(n.m.axes).Scale(part))
				n.loose = true
				n.run(middle, question.Moving)
				b := n.m.belief()
				by := unit.Deg(5 + 25*g.Float64()) // less may be within what a rest may be off its end
				if b.Sky.Dec > 0 {
					by = -by
				}
				n.m.sync(b.Sky.RA+unit.Deg(30*g.Float64()), b.Sky.Dec+by)
				n.run(end, question.AtRest)
				n.loose = false
				n.honest()
				n.m.wait(time.Minute)
				n.look()
			}
		})
	}
}
