package pose

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Fault 11: the wall clock here is set while a rig follows the sky. What goes by time alone (belief of a mount that does not tell its own, a
// pose that is reckoned) holds the truth all the same, and says why it is wider; a count is as sure as before, and so is all once it is homed.
func TestPoseHoldsTheTruthWhenOurClockIsSet(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*rig.Rig)
		tells  bool // the mount tells its sidereal time
		wider  bool
	}{
		"belief":                                {func(*rig.Rig) {}, false, true},
		"reckoned":                              {onlyReckoned, false, true},
		"count":                                 {withCount, false, false},
		"belief of a mount that tells its time": {func(*rig.Rig) {}, true, false},
	} {
		for _, here := range []bool{true, false} { // whether the asker dates by the same clock
			for _, steps := range [][]time.Duration{{-time.Hour, time.Hour}, {-10 * time.Minute, 10 * time.Minute}, {time.Hour}, {20 * time.Minute, -20 * time.Minute, 20 * time.Minute}} {
				t.Run(fmt.Sprint(name, here, steps), func(t *testing.T) {
					n := homed(t, c.change).tracked(-30, 40)
					clock := faults.NewClock(time.Now(), n.m.at)
					var off time.Duration
					wait := func() { n.m.wait(time.Minute); clock.Wait(time.Minute) }
					look := func() {
						n.take(Lapse(n.s, clock.Now()))
						x := n.m.sample()
						if !c.tells {
							bare(&x)
						}
						if x.Received = clock.Now(); here {
							x.Time = x.Time.Add(off)
						}
						n.take(Observe(n.w, n.s, x))
					}
					wait()
					look()
					require.Equal(t, question.Known, n.state(), n.said())
					was := n.s.Pose.Candidates[0].Sigma
					n.forget()
					for _, by := range steps {
						wait()
						clock.StepAt(0, by)
						off += by
						wait()
						look()
						n.honest()
					}
					now := n.s.Pose.Candidates[0].Sigma
					if !c.wider {
						assert.InDelta(t, was.A1.Deg(), now.A1.Deg(), 0.1, "no less sure: %s", n.said())
						assert.NotContains(t, n.kinds(), OurClock)
						return
					}
					assert.Greater(t, now.A1.Deg(), was.A1.Deg()+0.7, n.said())
					assert.Contains(t, n.kinds(), OurClock)
					n.home()
					assert.Less(t, n.s.Pose.Candidates[0].Sigma.A1.Deg(), 1.0, "home makes it sure again")
				})
			}
		}
	}
}
