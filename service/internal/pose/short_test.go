package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// cut is a slew of 60° that was stopped, and how the samples show it.
type cut struct {
	source func(*rig.Rig)
	went   float64       // °, of both axes
	after  time.Duration // since it began
	told   EndKind       // empty: leave was taken back instead
	frozen bool          // the driver hangs: belief and readings repeat what they said before
	waits  bool          // a sync leave
	back   time.Duration // by which the asker's clock was set back under way
	doing  question.Doing
}

// goes plays it; one sample under way shows the rig moving.
func (c cut) goes(t *testing.T, k rig.Kind) *night {
	n := newNight(t, newRig(k, 48))
	n.loose = true
	c.source(n.w.Rig)
	n.m.axes = rig.DegAxes(50, 60)
	n.home()
	n.m.wait(time.Second)
	n.look()
	if c.waits {
		b := n.m.belief()
		n.leave(b.Sky.RA+unit.Deg(2), b.Sky.Dec+unit.Deg(1))
	}
	n.begun(question.Action{Kind: question.Slew}, rig.DegAxes(-10, 20))
	from := n.m.axes
	n.m.wait(300 * time.Millisecond)
	n.m.axes, n.m.doing = from.Sub(rig.DegAxes(c.went, c.went*2/3).Scale(0.01)), question.Moving
	before := n.m.sample()
	n.take(Observe(n.w, n.s, before))
	n.m.wait(c.after - 300*time.Millisecond)
	n.m.axes, n.m.doing = from.Sub(rig.DegAxes(c.went, c.went*2/3)), question.AtRest
	if c.doing != "" {
		n.m.doing = c.doing
	}
	x := n.m.sample()
	x.Time = x.Time.Add(-c.back)
	if c.frozen {
		x.Belief, x.Readings = before.Belief, before.Readings
	}
	if c.told == "" {
		n.s.Permit.State = question.Withdrawn
		n.take(Observe(n.w, n.s, x))
	} else {
		n.take(End(n.w, n.s, "pb", c.told, &x))
	}
	return n
}

// A slew that is stopped at once came nowhere near its target: the rig is where it stood, or as far on its way as its axes turn in that time, whatever tells
// the pose and however little of the motion a sample shows.
func TestStoppedAtOnceStaysNearItsStart(t *testing.T) {
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		for name, source := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "count": withCount, "reckoned": onlyReckoned} {
			for _, told := range []EndKind{Stopped, Failed, ""} {
				for _, went := range []float64{0, 0.02, 0.4, 1.5} {
					n := cut{source: source, went: went, after: time.Second, told: told}.goes(t, k)
					assert.Equal(t, question.Known, n.state(), "%s %s %q %v: %s", k, name, told, went, n.said())
					assert.True(t, n.trueHeld(), "%s %s %q %v: %v", k, name, told, went, n.s.Pose)
					assert.LessOrEqual(t, n.s.Pose.Candidates[0].Sigma.Max().Deg(), 1.2, "the limit pose/sharp")
				}
			}
		}
	}
}

// Where it may have gone on, or was no so short a time, the target counts still: last, where nothing but a rig that goes on unseen can have come there.
func TestStoppedNotAtOnce(t *testing.T) {
	belief := func(*rig.Rig) {}
	for name, c := range map[string]struct {
		cut
		first, last float64 // axis 1 of the target's place among those held: 0 first, 1 last
	}{
		"a belief that repeats itself":  {cut: cut{source: belief, after: time.Second, told: Stopped, frozen: true}, last: 1},
		"counts that repeat themselves": {cut: cut{source: withCount, after: time.Second, told: Stopped, frozen: true}, last: 1},
		"a sync leave waits":            {cut: cut{source: belief, after: time.Second, told: Stopped, waits: true}, last: 1},
		"tracking, which tells no time": {cut: cut{source: belief, after: time.Second, told: Stopped, doing: question.Tracking}, last: 1},
		"after five seconds":            {cut: cut{source: belief, after: 5 * time.Second, told: Stopped}, last: 1},
		"after twenty seconds":          {cut: cut{source: belief, after: 20 * time.Second, told: Stopped}, first: 1},
		"by a clock that was set back":  {cut: cut{source: belief, went: 60, after: 20 * time.Second, told: Stopped, back: 19 * time.Second, frozen: true}, first: 1},
	} {
		n := c.goes(t, rig.German)
		assert.NotEqual(t, question.Known, n.state(), "%s: %s", name, n.said())
		all, at := n.s.Pose.Candidates, -1
		for i := range all {
			if all[i].Axes.Sub(rig.DegAxes(-10, 20)).Abs().Max() < unit.Degree {
				at = i
			}
		}
		want := 0
		if c.last > c.first {
			want = len(all) - 1
		}
		assert.Equal(t, want, at, "%s: %v", name, all)
		assert.True(t, n.trueHeld(), "%s: %v", name, all)
	}
}
