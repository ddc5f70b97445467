package pose

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// withBoth has an encoder on the axis and a count behind the clutch.
func withBoth(r *rig.Rig) {
	withCount(r)
	withEncoder(r)
}

// sees is a sample of which the encoder and the count are off by so much; nil: it lacks that one.
func (n *night) sees(encoder, count *rig.Axes) {
	n.t.Helper()
	n.m.wait(2 * time.Second)
	n.take(Observe(n.w, n.s, n.sampled(encoder, count)))
	n.honest()
}

func (n *night) sampled(encoder, count *rig.Axes) question.Sample {
	x := n.m.sample()
	all := x.Readings
	x.Readings = nil
	for _, r := range all {
		off := count
		if r.Source == rig.AxisEncoder {
			off = encoder
		}
		if off != nil {
			r.Axes = r.Axes.Add(*off)
			x.Readings = append(x.Readings, r)
		}
	}
	return x
}

func off(a1, a2 float64) *rig.Axes {
	a := rig.DegAxes(a1, a2)
	return &a
}

// slip turns the axes by so much while counts and belief stand, slower than the axes turn; the encoder sees it.
func (n *night) slip(a1, a2 float64) {
	n.t.Helper()
	d := rig.DegAxes(a1, a2)
	n.m.wait(5 * time.Second)
	n.m.axes, n.m.off = n.m.axes.Add(d), n.m.off.Sub(d)
	n.take(Observe(n.w, n.s, n.sampled(off(0, 0), off(-a1, -a2))))
	n.honest()
}

// What two sources of one rig may show, and what comes of it. The pose held stays true throughout.
func TestSourcesThatContradictEachOther(t *testing.T) {
	noBelief := func(n *night, count *rig.Axes) {
		n.m.wait(2 * time.Second)
		x := n.sampled(off(0, 0), count)
		x.Belief = nil
		n.take(Observe(n.w, n.s, x))
		n.honest()
	}
	for _, c := range []struct {
		name   string
		rig    []func(*rig.Rig)
		do     func(n *night)
		want   question.PoseState
		apart  bool // said
		parted bool // the count is no source any more
		lost   bool // the permit is taken back by it
	}{
		{name: "they agree", do: func(n *night) { n.sees(off(0, 0), off(0, 0)) }, want: question.Known},
		{name: "less than noise and play", do: func(n *night) { n.sees(off(0, 0), off(0.2, -0.2)) }, want: question.Known},
		{name: "more", do: func(n *night) { n.sees(off(0, 0), off(0.25, 0)) }, want: question.Known, apart: true, parted: true},
		{name: "the count turns by itself", do: func(n *night) { n.sees(off(0, 0), off(40, 20)) }, want: question.Known, apart: true, parted: true},
		{name: "and then the encoder falls silent", do: func(n *night) {
			n.sees(off(0, 0), off(40, 20))
			n.sees(nil, off(40, 20))
			require.Contains(n.t, n.s.Doubt, "nothing reads the axes")
			n.sees(off(0, 0), off(40, 20))
		}, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "by little each time", do: func(n *night) {
			for i := range 10 {
				n.sees(off(0, 0), off(0, 0.05*float64(i)))
			}
		}, want: question.Known, apart: true, parted: true},
		{name: "a clutch slips", do: func(n *night) { n.slip(0, 7) }, want: question.Known, apart: true, parted: true, lost: true},
		{name: "the count moves with a sync", do: func(n *night) {
			b := n.m.belief()
			ra, dec := b.Sky.RA, b.Sky.Dec-rig.DegAxes(0, 2).A2
			id := n.leave(ra, dec)
			n.m.wait(time.Second)
			n.m.sync(ra, dec)
			x := n.sampled(off(0, 0), &n.m.off)
			n.take(Synced(n.w, n.s, id, false, &x))
		}, want: question.Known, apart: true, parted: true},
		{name: "the count and belief turn, the encoder stands", do: func(n *night) {
			n.m.off = rig.DegAxes(0, 5)
			n.sees(off(0, 0), off(0, 5))
			require.Len(n.t, n.s.Pose.Candidates, 2)
			n.m.axes, n.m.off = n.m.axes.Add(rig.DegAxes(0, 5)), rig.Axes{}
			n.honest() // as if the encoder hung
		}, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "the count turns, and belief is not told", do: func(n *night) { noBelief(n, off(0, 5)) }, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "the encoder is silent for a while", do: func(n *night) {
			n.sees(nil, off(0, 0))
			require.Equal(n.t, rig.MotorCount, n.s.Pose.Source)
			n.sees(off(0, 0), off(0, 0))
			n.sees(off(0, 0), nil)
			n.sees(off(0, 0), off(0, 0))
			require.Equal(n.t, rig.AxisEncoder, n.s.Pose.Source)
		}, want: question.Known},
		{name: "and comes back elsewhere", do: func(n *night) {
			n.sees(nil, off(0, 0))
			n.sees(off(25, 10), off(0, 0))
			require.Len(n.t, n.s.Pose.Candidates, 2)
			n.m.axes = n.m.axes.Add(rig.DegAxes(25, 10))
			n.honest() // as if it were right
		}, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "the count comes back elsewhere", do: func(n *night) {
			n.sees(off(0, 0), nil)
			n.sees(off(0, 0), off(25, 10))
		}, want: question.Known, apart: true, parted: true},
		{name: "the encoder jumps", do: func(n *night) {
			n.sees(off(90, 0), off(0, 0))
		}, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "and the count shows that it was pushed", do: func(n *night) {
			n.m.axes = n.m.axes.Add(rig.DegAxes(0, 5))
			n.sees(off(90, 0), off(0, 0))
		}, want: question.Candidates, apart: true, parted: true, lost: true},
		{name: "a count on the axis too", rig: []func(*rig.Rig){func(r *rig.Rig) { r.Sources[1].MotorSide = false }}, do: func(n *night) {
			n.sees(off(0, 0), off(40, 20))
			require.Len(n.t, n.s.Pose.Candidates, 2)
			require.Contains(n.t, n.said(), "is not known: home the axes, or state where they are")
			n.m.axes = n.m.axes.Add(rig.DegAxes(40, 20))
			n.honest() // as if the count were right
		}, want: question.Candidates, apart: true, lost: true},
		{name: "and that by little each time", rig: []func(*rig.Rig){func(r *rig.Rig) { r.Sources[1].MotorSide, r.Sources[1].Sigma = false, rig.DegAxes(0.1, 0.1) }}, do: func(n *night) {
			for i := range 6 {
				n.sees(off(0, 0), off(0, 0.1*float64(i)))
			}
			require.Len(n.t, n.s.Pose.Candidates, 2, n.said())
			require.InDelta(n.t, 0.5, n.s.Pose.Candidates[1].Axes.Sub(n.s.Pose.Candidates[0].Axes).A2.Deg(), 0.01)
		}, want: question.Candidates, apart: true, lost: true},
		{name: "a clutch opened, the encoder goes on and then not", do: func(n *night) {
			n.take(Acted(n.w, n.s, Act{Kind: ClutchOpened}, nil))
			require.Equal(n.t, question.Known, n.state())
			n.sees(nil, off(0, 0))
		}, want: question.Candidates, apart: true, parted: true, lost: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t, append([]func(*rig.Rig){withBoth}, c.rig...)...).tracked(-30, 40)
			c.do(n)
			require.Equal(t, c.want, n.state(), "%+v\n%s", n.s.Pose, n.said())
			require.Equal(t, c.apart, containsKind(n, Apart), n.said())
			require.Equal(t, c.parted, n.s.Parted[rig.MotorCount] != "", n.s.Parted)
			require.Equal(t, c.lost, n.s.Permit.State == question.Withdrawn, n.said())
			n.m.off, n.m.fault = rig.Axes{}, rig.Axes{}
			n.wayOut()
			require.Empty(t, n.s.Parted, "a homing trusts all again")
			n.forget()
			n.sees(off(0, 0), off(0, 0))
			require.Empty(t, n.notes)
		})
	}
}

func containsKind(n *night, k Kind) bool {
	for _, x := range n.kinds() {
		if x == k {
			return true
		}
	}
	return false
}

// Belief goes with the motors: once it stood while the encoder turned it stands in for nothing.
func TestBeliefThatASlipLeftBehind(t *testing.T) {
	n := homed(t, withEncoder).tracked(-30, 40)
	n.slip(0, 7)
	require.Equal(t, question.Known, n.state(), n.said())
	n.sees(nil, nil)
	require.Equal(t, question.Candidates, n.state(), "%+v\n%s", n.s.Pose, n.said())
	require.Contains(t, n.s.Doubt, "nothing reads the axes")
	n.m.off = rig.Axes{}
	n.wayOut()
	n.sees(nil, nil)
	require.Equal(t, question.Known, n.state(), n.said())
}

// Once the count is off, a sample of a program that reads no axes is left aside while samples of the one that does are fresh: it is no reason for a
// homing, and no answer is made from it. What it shows of a restart or a motion counts, and so does a silence that lasts.
func TestSampleOfAnotherProgramThatReadsNoAxes(t *testing.T) {
	as := func(*question.Sample) {}
	for _, c := range []struct {
		name   string
		after  time.Duration
		sample func(*question.Sample)
		aside  bool
	}{
		{"between two that do", 2 * time.Second, as, true},
		{"as old as a sample may be", 10 * time.Second, as, true},
		{"later", 11 * time.Second, as, false},
		{"of the same program", 2 * time.Second, func(x *question.Sample) { x.Asker = "sim" }, false},
		{"moving", 2 * time.Second, func(x *question.Sample) { x.Doing = question.Moving }, false},
		{"restarted", 2 * time.Second, func(x *question.Sample) { x.RunMark = "boot 7" }, false},
		{"the clock set", 2 * time.Second, clockOn(15 * unit.Degree), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t, withBoth).tracked(-30, 40)
			n.s.Homing.RunMark = "boot 6"
			n.sees(off(0, 0), off(40, 20))
			before := n.s
			n.forget()
			n.m.wait(c.after)
			x := n.sampled(nil, nil)
			x.Asker = "telemetry"
			c.sample(&x)
			n.take(Observe(n.w, n.s, x))
			require.Equal(t, c.aside, containsKind(n, Ignored), n.said())
			if !c.aside {
				require.NotEqual(t, before.Sample, n.s.Sample)
				return
			}
			require.Equal(t, before, n.s)
			require.False(t, Agrees(&x, n.s), "a question with it is not judged by the one held")
			n.sees(off(0, 0), off(40, 20))
			require.Equal(t, question.Known, n.state(), n.said())
			require.Equal(t, rig.AxisEncoder, n.s.Pose.Source)
			require.Equal(t, before.Epoch, n.s.Epoch)
		})
	}
}

// Under way the two are read at different instants, so they are compared once the rig is still; a slew leaves no doubt.
func TestSourcesUnderWayAreNotCompared(t *testing.T) {
	n := homed(t, withBoth).tracked(-30, 40)
	n.m.doing = question.Moving
	n.sees(off(0, 0), off(3, 3))
	require.NotContains(t, n.kinds(), Apart, n.said())
	n.m.doing = question.Tracking
	ra, d := n.target(-50, 25)
	n.slew(ra, d, rig.West, time.Hour)
	require.NotContains(t, n.kinds(), Apart, n.said())
}

// A granted permit dies with the news, and the news outlives a restart, which folds the state from its text.
func TestPartedSourcesAreKept(t *testing.T) {
	n := homed(t, withBoth)
	ra, d := n.target(-30, 40)
	p := n.grant(ra, d, rig.West, 0)
	p.State, p.BegunAt = question.Granted, nil
	n.sees(off(0, 0), off(40, 20))
	require.Equal(t, question.Withdrawn, n.s.Permit.State)
	text, err := json.Marshal(n.s)
	require.NoError(t, err)
	n.s = question.RigState{}
	require.NoError(t, json.Unmarshal(text, &n.s))
	n.sees(nil, off(40, 20))
	require.Equal(t, question.Candidates, n.state(), n.said())
}

// A source that parted and that the file no longer declares is no reason for doubt where nothing reads the axes.
func TestPartedSourceTakenOutOfTheFile(t *testing.T) {
	n := homed(t, withBoth)
	n.sees(off(0, 0), off(40, 20))
	require.NotEmpty(t, n.s.Parted)
	r := *n.w.Rig
	r.Sources = r.Sources[:1]
	n.w.Rig = &r
	n.sees(nil, nil)
	require.Equal(t, question.Known, n.state(), n.said())
}

// A restart sets the counts to another zero: that is none of the encoder's news.
func TestSourcesAfterARestart(t *testing.T) {
	n := homed(t, withBoth)
	n.s.Homing.RunMark = "boot 6"
	n.m.wait(2 * time.Second)
	x := n.sampled(off(0, 0), off(40, 20))
	x.RunMark = "boot 7"
	n.take(Observe(n.w, n.s, x))
	n.m.wait(2 * time.Second)
	x = n.sampled(off(0, 0), off(40, 20))
	x.RunMark = "boot 7"
	n.take(Observe(n.w, n.s, x))
	require.Contains(t, n.kinds(), Restarted)
	require.NotContains(t, n.kinds(), Apart, n.said())
}
