package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// There is leave for a sync of half a degree. Where the mount is then synced elsewhere it is a sync without leave: the permit is withdrawn, the
// leave over, and its solve not accepted. One that arrives, in part or not at all, is the one that had leave.
func TestSyncedElsewhereThanGiven(t *testing.T) {
	counting := func(r *rig.Rig) { r.Mount.CountsSyncs = true }
	for name, c := range map[string]struct {
		dRA, dDec float64 // what belief moves by; leave was for +0.5° of declination
		elsewhere bool
	}{
		"as given":               {0, 0.5, false},
		"a part":                 {0, 0.2, false},
		"ignored":                {0, 0, false},
		"20° the other way":      {0, -20, true},
		"a little the other way": {0, -0.3, true},
		"aside":                  {0.5, 0.1, true},
		"beyond what was given":  {0, 0.94, true},
	} {
		for source, with := range map[string]func(*rig.Rig){"belief": counting, "counts": func(r *rig.Rig) { counting(r); withCount(r) }} {
			for _, tell := range []bool{true, false} {
				for _, doing := range []question.Doing{question.Tracking, question.AtRest} {
					n := homed(t, with).tracked(-30, 40)
					n.m.wait(time.Second)
					n.m.doing = doing
					n.look()
					b := n.m.belief()
					if doing == question.Tracking {
						n.grant(b.Sky.RA, b.Sky.Dec, b.Side, time.Hour).Arrived = &n.m.at
					}
					id := n.leave(b.Sky.RA, b.Sky.Dec+unit.Deg(0.5))
					n.s.Leave.RequestID = "q9"
					n.s.Solves = []question.JudgedSolve{{RequestID: "q9", Verdict: question.Leaved, Good: true, Side: b.Side, Pose: n.m.axes, Solved: n.m.axes.Add(rig.DegAxes(0, 0.5))}}
					held := n.s.Solves
					n.m.wait(700 * time.Millisecond)
					n.m.sync(n.m.belief().Sky.RA+unit.Deg(c.dRA), b.Sky.Dec+unit.Deg(c.dDec))
					n.m.wait(300 * time.Millisecond)
					n.forget()
					x := n.m.sample()
					if !tell { // the mount's count shows it first
						n.take(Observe(n.w, n.s, x))
						n.m.wait(time.Second)
						x = n.m.sample()
					}
					n.take(Synced(n.w, n.s, id, false, &x))
					n.honest()
					what := name + ", " + source + ", " + string(doing) + "\n" + n.said()
					require.False(t, n.s.Leave.Live, what)
					verdict, learnt := question.Accepted, 1
					if c.elsewhere {
						verdict, learnt = question.Leaved, 0
						assert.NotContains(t, n.said(), "ignored", what)
					}
					assert.Equal(t, verdict, n.s.Solves[0].Verdict, what)
					assert.Equal(t, question.Leaved, held[0].Verdict, "a state from before stays as it was: %s", what)
					assert.Len(t, n.s.Learnt, learnt, what)
					alarms := 0
					for _, k := range n.kinds() {
						if k == UnaskedSync {
							alarms++
						}
					}
					assert.Equal(t, c.elsewhere, alarms == 1, what)
					if doing == question.Tracking {
						assert.Equal(t, !c.elsewhere, n.s.Permit.Open(), what)
					}
				}
			}
		}
	}
}
