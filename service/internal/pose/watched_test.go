package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// stop is a slew by belief alone that is stopped a part of its way, and what may be amiss with it.
type stop struct {
	part   float64
	mark   string        // of the last sample; the others tell "first"
	gap    time.Duration // between the last sample under way and the one at rest
	stuck  bool          // belief repeats itself from half of that on, and the rig goes to its target
	told   EndKind
	across bool // another end lies on the other side
}

// goes runs the slew.
func (c stop) goes(n *night) {
	n.s.Homing.RunMark = "first"
	show := func(mark string) {
		x := n.m.sample()
		x.RunMark = mark
		n.take(Observe(n.w, n.s, x))
		n.honest()
	}
	n.m.wait(time.Second)
	show("first")
	p := n.begun(question.Action{Kind: question.Slew}, n.m.axes.Add(rig.DegAxes(-60, -40)))
	if c.across {
		p.Ends = append(p.Ends, rig.DegAxes(10, -50))
	}
	from, end := n.m.axes, p.Ends[0]
	n.m.doing = question.Moving
	var x question.Sample
	for step := 0.1; step < c.part+0.01; step += 0.1 {
		n.m.wait(2 * time.Second)
		n.m.axes = from.Add(end.Sub(from).Scale(step))
		x = n.m.sample()
		x.RunMark = "first"
		n.take(Observe(n.w, n.s, x))
		n.honest()
	}
	n.m.wait(c.gap)
	n.m.doing = question.AtRest
	if c.stuck {
		n.m.axes = end
		y := n.m.sample()
		y.Belief, y.RunMark = x.Belief, c.mark
		n.take(End(n.w, n.s, "pb", c.told, &y))
		n.honest()
		return
	}
	y := n.m.sample()
	y.RunMark = c.mark
	n.take(End(n.w, n.s, "pb", c.told, &y))
	n.honest()
}

// Belief alone tells where a slew stopped that samples under way saw go along its way.
func TestAStopThatWasWatched(t *testing.T) {
	for _, k := range []rig.Kind{rig.AltAzimuth, rig.Fork, rig.German} {
		for _, told := range []EndKind{Stopped, Failed} {
			n := newNight(t, newRig(k, 48))
			n.m.axes = rig.DegAxes(50, 60)
			n.home()
			stop{part: 0.5, mark: "first", gap: time.Second, told: told}.goes(n)
			require.Equal(t, question.Known, n.state(), "%s: %+v %s", k, n.s.Pose, n.said())
		}
	}
}

// It does not where something may have moved belief otherwise, or the end may have been reached unseen.
func TestAStopThatWasNotWatched(t *testing.T) {
	for name, c := range map[string]stop{
		"no run mark":                 {part: 0.5, gap: time.Second, told: Stopped},
		"long unseen":                 {part: 0.3, mark: "first", gap: 6 * time.Second, told: Stopped},
		"its end within reach":        {part: 0.8, mark: "first", gap: 3 * time.Second, told: Stopped},
		"stuck":                       {part: 0.8, mark: "first", gap: 4 * time.Second, stuck: true, told: Stopped},
		"one sample under way":        {part: 0.1, mark: "first", gap: time.Second, told: Stopped},
		"said to have come to an end": {part: 0.5, mark: "first", gap: time.Second, told: Done},
		"said not to have moved":      {part: 0.5, mark: "first", gap: time.Second, told: NotMoved},
		"an end on the other side":    {part: 0.5, mark: "first", gap: time.Second, told: Stopped, across: true},
	} {
		n := newNight(t, newRig(rig.German, 48))
		n.m.axes = rig.DegAxes(50, 60)
		n.home()
		c.goes(n)
		require.Equal(t, question.Candidates, n.state(), "%s: %s", name, n.said())
	}
}
