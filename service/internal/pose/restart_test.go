package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// restarted is how the samples after a restart that nobody tells of differ from those before.
var restartedForms = map[string]struct {
	before, after func(*question.Sample)
}{
	"nothing told":       {before: bare, after: bare},
	"run mark gone":      {before: func(x *question.Sample) { x.RunMark = "first" }, after: func(*question.Sample) {}},
	"homing id gone":     {before: func(x *question.Sample) { x.HomingID = "h1" }, after: func(*question.Sample) {}},
	"sync count gone":    {before: func(*question.Sample) {}, after: func(x *question.Sample) { x.SyncCount = nil }},
	"sidereal time gone": {before: func(*question.Sample) {}, after: func(x *question.Sample) { x.Sidereal = nil }},
	"clock reset": {before: func(*question.Sample) {}, after: func(x *question.Sample) {
		s := *x.Sidereal + 2*unit.Degree
		x.Sidereal = &s
		x.Belief.Sky.RA += 2 * unit.Degree
	}},
	"site reset": {before: func(x *question.Sample) { x.Site = &question.Place{Lat: 48 * unit.Degree, Lon: 11 * unit.Degree} }, after: func(x *question.Sample) {
		x.Site = &question.Place{Lat: 47 * unit.Degree, Lon: 11 * unit.Degree}
	}},
}

func bare(x *question.Sample) { x.Sidereal, x.SyncCount = nil, nil }

// A mount that only belief follows restarts, tells nobody, and takes itself to be at home: whatever its samples tell or leave out from then on,
// however long nobody looked, and whatever it did before, the axes are at one of the places held.
func TestRestartsWithBeliefAlone(t *testing.T) {
	for name, form := range restartedForms {
		for _, from := range []rig.Axes{rig.DegAxes(30, 40), rig.DegAxes(-60, -55), rig.DegAxes(4, 3), rig.DegAxes(0.4, 0)} {
			for _, doing := range []question.Doing{question.AtRest, question.Tracking, question.Moving} {
				for _, gap := range []time.Duration{2 * time.Second, 10 * time.Minute, 3 * time.Hour} {
					for _, comesUp := range []question.Doing{question.AtRest, question.Tracking} {
						n := homed(t, func(r *rig.Rig) { r.Mount.CountsSyncs = true }, closely)
						if from.A1 == unit.Deg(0.4) && doing == question.Moving {
							continue // it begins where it takes itself to be afterwards: what stays unseen, says the README
						}
						n.loose = true
						n.toAxes(from, doing == question.Tracking)
						see := func(how func(*question.Sample)) {
							x := n.m.sample()
							how(&x)
							n.take(Observe(n.w, n.s, x))
						}
						n.m.wait(2 * time.Second)
						see(form.before)
						n.s.Permit = nil
						if doing == question.Moving {
							n.jog(rig.DegAxes(20, 20))
							n.m.axes = n.m.axes.Add(rig.DegAxes(5, 5))
						}
						n.m.wait(gap / 2)
						n.m.fault, n.m.doing = n.m.axes, comesUp
						n.m.wait(gap - gap/2)
						for range 3 {
							n.m.wait(time.Second)
							see(form.after)
							held := n.s.Pose.State == question.Unknown
							for _, c := range n.s.Pose.Candidates {
								held = held || !beyond(c.Axes.Sub(n.m.axes), question.Sigma3(c.Sigma).Add(rig.DegAxes(0.05, 0.05)))
							}
							if !assert.Truef(t, held, "%s from %s (%s) over %s, up %s: truth %s held %+v\n%s", name, from, doing, gap, comesUp, n.m.axes, n.s.Pose.Candidates, n.said()) {
								break
							}
						}
					}
				}
			}
		}
	}
}
