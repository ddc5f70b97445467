package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

func bareSample(x *question.Sample) {
	*x = question.Sample{Time: x.Time, Received: x.Received, Asker: x.Asker, Doing: x.Doing}
}

// A begin's sample shows what the permit was judged by: where the mount believes it points, where the motion goes by that; and the source of the pose, or a better one. What an action does not go by it need not show.
func TestBeginShowsWhatWasJudged(t *testing.T) {
	bySky := func(*question.Action) {}
	byAxes := func(a *question.Action) { *a = question.Action{Kind: question.Slew, Axes: &rig.Axes{}} }
	retreat := func(a *question.Action) { *a = question.Action{Kind: question.Retreat, Axes: &rig.Axes{}} }
	home := func(a *question.Action) { *a = question.Action{Kind: question.Home} }
	counting := func(r *rig.Rig) { r.Mount.CountsSyncs = true }
	noBelief := func(x *question.Sample) { x.Belief = nil }
	noCount := func(x *question.Sample) { x.Readings = nil }
	as := func(*question.Sample) {}
	for _, c := range []struct {
		name   string
		source func(*rig.Rig)
		action func(*question.Action)
		sample func(*question.Sample)
		begins bool
	}{
		{"counts, as judged", withCount, bySky, as, true},
		{"belief, as judged", counting, bySky, as, true},
		{"reckoned, as judged", onlyReckoned, bySky, as, true},
		{"nothing but the time, by counts", withCount, byAxes, bareSample, false},
		{"nothing but the time, by belief", counting, retreat, bareSample, false},
		{"nothing but the time, home by counts", withCount, home, bareSample, true},
		{"nothing but the time, reckoned to a place of rest", onlyReckoned, retreat, bareSample, true},
		{"no belief, by axes", withCount, byAxes, noBelief, false},
		{"no belief, to a place of rest", withCount, retreat, noBelief, true},
		{"no belief, reckoned", onlyReckoned, byAxes, noBelief, false},
		{"no count", withCount, byAxes, noCount, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t, c.source)
			n.s.Homing.RunMark = "boot 6"
			ra, d := n.target(-30, 40)
			p := n.grant(ra, d, rig.West, 0)
			p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
			c.action(&p.Action)
			n.m.wait(time.Second)
			x := n.m.sample()
			x.RunMark = "boot 6"
			c.sample(&x)
			n.take(Begin(n.w, n.s, p.ID, x))
			assert.Equal(t, c.begins, n.s.Permit.State == question.Begun, n.said())
		})
	}
}

// What shows the pose better than what the permit was judged by does too.
func TestBeginByABetterSource(t *testing.T) {
	n := homed(t, withCount)
	ra, d := n.target(-30, 40)
	p := n.grant(ra, d, rig.West, 0)
	p.State, p.BegunAt, p.Source = question.Granted, nil, rig.UnsyncedBelief
	n.m.wait(time.Second)
	n.take(Begin(n.w, n.s, p.ID, n.m.sample()))
	require.Equal(t, question.Begun, n.s.Permit.State, n.said())
}

// A second sample of one instant that says otherwise than the first begins nothing; the same once more does.
func TestBeginByTheLastSampleOnceMore(t *testing.T) {
	for begins, change := range map[bool]func(*question.Sample){
		true: func(*question.Sample) {},
		false: func(x *question.Sample) {
			x.Readings = []question.Reading{{Source: rig.MotorCount, Axes: rig.DegAxes(30, 50)}}
		},
	} {
		n := homed(t, withCount)
		n.m.wait(time.Second)
		number := uint64(7)
		x := n.m.sample()
		x.Sequence = &number
		n.take(Observe(n.w, n.s, x))
		ra, d := n.target(-30, 40)
		p := n.grant(ra, d, rig.West, 0)
		p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
		change(&x)
		n.take(Begin(n.w, n.s, p.ID, x))
		require.Equal(t, begins, n.s.Permit.State == question.Begun, n.said())
	}
}
