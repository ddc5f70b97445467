package pose

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Fault 11: the wall clock here is set while a rig follows the sky. What goes by time alone (belief, also of a mount that has its own time of this
// machine, and a pose that is reckoned) holds the truth all the same, under way too, and says why it is wider; a count is as sure as before, and so
// is all once it is homed.
func TestPoseHoldsTheTruthWhenOurClockIsSet(t *testing.T) {
	bareOne := func(x *question.Sample, _ time.Duration) { bare(x) }
	for name, c := range map[string]struct {
		kind   rig.Kind
		change func(*rig.Rig)
		tells  func(*question.Sample, time.Duration) // what a sample tells of time, by how much the clock is off
		wider  bool
	}{
		"belief":                                {rig.German, func(*rig.Rig) {}, bareOne, true},
		"belief of a fork":                      {rig.Fork, func(*rig.Rig) {}, bareOne, true},
		"belief of an alt-azimuth":              {rig.AltAzimuth, func(*rig.Rig) {}, bareOne, true},
		"reckoned":                              {rig.German, onlyReckoned, bareOne, true},
		"count":                                 {rig.German, withCount, bareOne, false},
		"belief of a mount that tells its time": {rig.German, func(*rig.Rig) {}, func(*question.Sample, time.Duration) {}, true},
		"belief, and this machine's time for the mount's": {rig.German, func(*rig.Rig) {}, func(x *question.Sample, off time.Duration) {
			turned := *x.Sidereal + unit.Angle(off.Seconds())*15*unit.Arcsecond
			x.Sidereal = &turned
		}, true},
	} {
		for _, here := range []bool{true, false} { // whether the asker dates by the same clock
			for _, steps := range [][]time.Duration{{-time.Hour, time.Hour}, {-10 * time.Minute, 10 * time.Minute}, {time.Hour}, {20 * time.Minute, -20 * time.Minute, 20 * time.Minute}} {
				t.Run(fmt.Sprint(name, here, steps), func(t *testing.T) {
					n := homedKind(t, c.kind, c.change).tracked(-30, 40)
					clock := faults.NewClock(time.Now(), n.m.at)
					var off time.Duration
					wait := func() { n.m.wait(time.Minute); clock.Wait(time.Minute) }
					look := func(doing question.Doing) {
						n.take(Lapse(n.s, clock.Now()))
						x := n.m.sample()
						x.Doing = doing
						c.tells(&x, off)
						if x.Received = clock.Now(); here {
							x.Time = x.Time.Add(off)
						}
						n.take(Observe(n.w, n.s, x))
					}
					wait()
					look(question.Tracking)
					require.Equal(t, question.Known, n.state(), n.said())
					was, epoch := n.s.Pose.Candidates[0].Sigma, n.s.Epoch
					n.forget()
					for i, by := range steps {
						wait()
						clock.StepAt(0, by)
						off += by
						wait()
						if i == 0 && here {
							look(question.Moving)
							n.honest()
						}
						look(question.Tracking)
						n.honest()
					}
					if !c.wider {
						assert.InDelta(t, was.A1.Deg(), n.s.Pose.Candidates[0].Sigma.A1.Deg(), 0.1, "no less sure: %s", n.said())
						assert.NotContains(t, n.kinds(), OurClock)
						return
					}
					if slices.Contains(n.kinds(), Restarted) {
						assert.Contains(t, n.said(), "this machine's own was changed by", "or a person looks at the mount")
					}
					if n.state() == question.Known {
						assert.Greater(t, n.s.Pose.Candidates[0].Sigma.Max().Deg(), was.Max().Deg()+0.2, n.said())
						assert.Contains(t, n.kinds(), OurClock)
						assert.Greater(t, n.s.Epoch, epoch, "leave that waited was judged on a sharper pose")
					}
					n.home()
					assert.Less(t, n.s.Pose.Candidates[0].Sigma.A1.Deg(), 1.0, "home makes it sure again")
					n.take(Lapse(n.s, clock.Now()))
					n.m.wait(time.Second)
					n.look()
					assert.Less(t, n.s.Pose.Candidates[0].Sigma.A1.Deg(), 1.0, "and the step from before it counts no more")
				})
			}
		}
	}
}
