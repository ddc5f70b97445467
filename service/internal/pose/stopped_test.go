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

// trueHeld tells whether the true axes are among the places held.
func (n *night) trueHeld() bool {
	for _, c := range n.s.Pose.Candidates {
		if !beyond(c.Axes.Sub(n.m.axes), question.Sigma3(c.Sigma).Add(rig.DegAxes(0.05, 0.05))) {
			return true
		}
	}
	return n.s.Pose.State == question.Unknown
}

// truePicture is a right solve; what it lies off the pose held, it tells against it.
func (n *night) truePicture() question.JudgedSolve {
	r := n.w.Rig
	j := n.solved(0, 0)
	sight := direction(r, n.m.axes)
	j.Solved = rig.LiftNear(r.Chain.Solve(r.Kind, sight, r.Kind.SideOf(j.Pose)), j.Pose)
	j.OffsetSky = direction(r, j.Pose).Angle(sight)
	j.Against = j.OffsetSky > firstOffset
	return j
}

// A change of sides in place that was broken off at its beginning points where its end does: no picture without a camera angle tells the two apart, nor
// does a rest that comes too soon.
func TestBrokenOffFlipInPlaceStaysInDoubt(t *testing.T) {
	for name, change := range map[string][]func(*rig.Rig){"reckoned": {onlyReckoned, inferred}, "belief": {inferred}} {
		for _, told := range []EndKind{Stopped, Failed, ""} {
			for _, part := range []float64{0, 0.02, 0.1} {
				n := homed(t, change...)
				n.loose = true
				ra, dec := n.target(-2, 30)
				n.slew(ra, dec, rig.West, time.Hour)
				n.m.wait(5 * time.Second)
				n.look()
				n.s.Permit = nil
				n.m.wait(20 * time.Minute)
				n.look()
				require.Equal(t, question.Known, n.state(), name)
				n.forget()
				n.grant(n.m.belief().Sky.RA, n.m.belief().Sky.Dec, rig.East, time.Hour)
				from, end := n.m.axes, n.s.Permit.Ends[0]
				n.m.doing = question.Moving
				n.m.wait(time.Second)
				n.m.axes = from.Add(end.Sub(from).Scale(part / 2))
				n.look()
				n.m.wait(time.Second)
				n.m.axes, n.m.doing = from.Add(end.Sub(from).Scale(part)), question.AtRest
				x := n.m.sample()
				if told != "" {
					n.take(End(n.w, n.s, n.s.Permit.ID, told, &x))
				} else {
					n.take(Observe(n.w, n.s, x))
				}
				assert.True(t, n.trueHeld(), "%s, told %q, %v of the way: %v", name, told, part, n.s.Pose)
				if n.state() == question.Unknown {
					continue
				}
				n.m.wait(10 * time.Second)
				n.look()
				n.take(Evidence(n.w, n.s, n.truePicture()))
				assert.True(t, n.trueHeld(), "%s, told %q, %v of the way, after a picture: %v", name, told, part, n.s.Pose)
			}
		}
	}
}

// stoppedUnderWay is a slew watched by belief to its half and stopped there; last makes the sample at rest of what the last one under way said.
func stoppedUnderWay(t *testing.T, last func(n *night, under question.Sample) question.Sample, before func(n *night)) *night {
	n := newNight(t, newRig(rig.German, 48))
	n.loose = true
	n.m.axes = rig.DegAxes(50, 60)
	n.home()
	n.s.Homing.RunMark = "a"
	show := func() (x question.Sample) {
		x = n.m.sample()
		x.RunMark = "a"
		n.take(Observe(n.w, n.s, x))
		return x
	}
	n.m.wait(time.Second)
	show()
	before(n)
	p := n.begun(question.Action{Kind: question.Slew}, n.m.axes.Add(rig.DegAxes(-60, -40)))
	from, end := n.m.axes, p.Ends[0]
	n.m.doing = question.Moving
	var x question.Sample
	whole := n.m.takes(from, end)
	for s := 2.0; s < whole/2; s += 2 {
		n.m.wait(2 * time.Second)
		n.m.axes = from.Add(end.Sub(from).Scale(s / whole))
		x = show()
	}
	n.m.wait(time.Second)
	n.m.axes = n.m.axes.Add(end.Sub(from).Scale(1 / whole))
	n.m.doing = question.AtRest
	y := last(n, x)
	y.RunMark = "a"
	n.take(End(n.w, n.s, "pb", Stopped, &y))
	return n
}

// A belief that says at rest what it said under way shows no stop, and a sync leave that waited may have been used.
func TestStoppedUnderWayIsKnownByALiveBeliefAlone(t *testing.T) {
	live := func(n *night, _ question.Sample) question.Sample { return n.m.sample() }
	nothing := func(*night) {}
	known := stoppedUnderWay(t, live, nothing)
	assert.Equal(t, question.Known, known.state())
	assert.True(t, known.trueHeld())
	frozen := stoppedUnderWay(t, func(n *night, under question.Sample) question.Sample {
		y := n.m.sample()
		y.Belief = under.Belief
		return y
	}, nothing)
	assert.NotEqual(t, question.Known, frozen.state())
	waits := stoppedUnderWay(t, live, func(n *night) {
		b := n.m.belief()
		n.leave(b.Sky.RA+unit.Deg(2), b.Sky.Dec+unit.Deg(1))
	})
	assert.NotEqual(t, question.Known, waits.state(), "its step cannot be told from the motion")
}

// Who told of the restart and homed since need not home again for the mark that came with it; where nobody told, it is a restart.
func TestMarkOfAToldRestart(t *testing.T) {
	for _, act := range []ActKind{ControllerRestarted, PowerLost, ""} {
		for _, marks := range [][]string{{"", "8", "8"}, {"", "", "8"}} {
			n := homed(t, withEncoder)
			n.loose = true
			n.m.wait(time.Minute)
			n.seen("7")
			n.m.wait(time.Minute)
			if act != "" {
				n.take(Acted(n.w, n.s, Act{Kind: act, Person: "A. Person"}, nil))
			}
			n.m.wait(time.Minute)
			x := n.m.sample()
			n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
			for _, mark := range marks {
				n.m.wait(10 * time.Second)
				n.seen(mark)
			}
			assert.Equal(t, act != "", n.state() == question.Known, "%q %q", act, marks)
		}
	}
	n := homed(t, withEncoder)
	n.seen("7")
	s, _ := Unrecorded(n.w, n.s, "entries are gone")
	assert.Empty(t, s.RunMark)
}
