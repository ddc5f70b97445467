package pose

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// turnOver takes the tube to the other side of the same place on the sky, unseen.
func (n *night) turnOver() {
	b := n.m.belief()
	n.m.axes = n.m.goal(b.Sky.RA, b.Sky.Dec, n.w.Rig.Kind.SideOf(n.m.axes).Other(), n.m.at)
}

// silent is a sample that tells no side.
func (n *night) silent() {
	n.t.Helper()
	x := n.m.sample()
	x.Belief.Side = ""
	n.take(Observe(n.w, n.s, x))
}

func kept(k rig.SyncKeeping) func(*rig.Rig) { return func(r *rig.Rig) { r.Mount.Sync = k } }

func byAsker(r *rig.Rig) { r.Mount.Chooses = rig.AskerChooses }

// readsSide is a night tracking under leave by a mount that reads its side, though its file does not say so.
func readsSide(t *testing.T, k rig.Kind, h, dec float64, changes ...func(*rig.Rig)) *night {
	t.Helper()
	n := homedKind(t, k, append(changes, inferred)...)
	n.m.reads = true
	n.tracked(h, dec)
	require.Equal(t, question.Known, n.state(), n.said())
	n.forget()
	return n
}

// doubtsSide checks that the pose is on either side, with leave taken back.
func (n *night) doubtsSide(what string) {
	n.t.Helper()
	assert.Equal(n.t, question.Candidates, n.state(), what)
	assert.Contains(n.t, n.kinds(), UnaskedMotion, what)
	assert.Equal(n.t, question.Withdrawn, n.s.Permit.State, what)
	for _, side := range n.w.Rig.Kind.Sides() {
		assert.True(n.t, slices.ContainsFunc(n.s.Pose.Candidates, func(c question.Candidate) bool { return n.w.Rig.Kind.SideOf(c.Axes) == side }), "%s: none on %s", what, side)
	}
}

// A tube that is turned over unseen points where it did: where the mount tells its other side far from the meridian, that tells, for no inferred
// side changes there.
func TestTurnedOverFarFromTheMeridian(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"reckoned": onlyReckoned, "belief": func(*rig.Rig) {}} {
		for _, k := range []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky, rig.KeptUnknown} {
			for _, h := range []float64{-35, 40} {
				for _, wait := range []time.Duration{90 * time.Second, time.Second} {
					what := name + " " + string(k) + " " + wait.String()
					n := readsSide(t, rig.German, h, 35, source, kept(k))
					n.syncOff(0.6, 0.4)
					require.Equal(t, question.Known, n.state(), "%s: %s", what, n.said())
					n.m.wait(wait)
					n.turnOver()
					n.look() // checks that the truth is held
					n.doubtsSide(what)
					first, last := n.s.Pose.Candidates[0], n.s.Pose.Candidates[len(n.s.Pose.Candidates)-1]
					assert.Equal(t, name == "reckoned", last.Sigma.A1 > first.Sigma.A1, "%s: a motion loses something where nothing counts it", what)
					assert.Equal(t, k == rig.KeptUnknown, last.Kept != "", what)
					n.forget()
					n.m.wait(time.Minute)
					n.look()
					assert.NotContains(t, n.kinds(), UnaskedMotion, "%s: told once", what)
				}
			}
		}
	}
}

// A picture settles it by its camera angle.
func TestTurnedOverShownByTheCamera(t *testing.T) {
	n := readsSide(t, rig.German, -35, 35, func(r *rig.Rig) {
		angle := unit.Deg(92)
		r.Optics = []rig.Optics{{Name: "main", CameraAngle: &angle}}
	})
	n.turnOver()
	n.look()
	n.doubtsSide("before")
	n.take(Evidence(n.w, n.s, n.pictured(rig.Tilt{}, unit.Deg(92))))
	n.honest()
	assert.Equal(t, question.Known, n.state(), n.said())
}

// Samples that tell no side between those that do hide nothing, be they by the same program or another.
func TestTurnedOverBesideSamplesWithoutASide(t *testing.T) {
	n := readsSide(t, rig.German, -35, 35)
	for range 3 {
		n.m.wait(10 * time.Second)
		n.silent()
	}
	require.Equal(t, &question.ToldSide{Side: rig.West, Hour: n.s.SideTold.Hour, Asker: "sim"}, n.s.SideTold)
	assert.InDelta(t, -35, n.s.SideTold.Hour.Deg(), 0.5)
	n.turnOver()
	n.m.wait(10 * time.Second)
	n.silent()
	require.Equal(t, question.Known, n.state(), "nothing showed it yet")
	n.m.wait(10 * time.Second)
	x := n.m.sample()
	x.Asker = "another"
	n.take(Observe(n.w, n.s, x))
	n.honest()
	n.doubtsSide("silent between")
	assert.Nil(t, n.s.SideTold)
}

// A fork that is turned over the top, and an alt-azimuth.
func TestTurnedOverTheTop(t *testing.T) {
	for _, k := range []rig.Kind{rig.Fork, rig.AltAzimuth} {
		n := readsSide(t, k, -35, 35, byAsker)
		n.m.wait(time.Minute)
		n.turnOver()
		n.look()
		n.doubtsSide(string(k))
	}
}

// Past the meridian a mount that told its near side there until now does not infer it.
func TestTurnedOverPastTheMeridian(t *testing.T) {
	n := readsSide(t, rig.German, -9, 20, byAsker)
	for range 56 {
		n.m.wait(time.Minute)
		n.look()
	}
	require.Equal(t, question.Known, n.state())
	require.Empty(t, n.notes)
	n.turnOver()
	n.m.wait(10 * time.Second)
	n.look()
	n.doubtsSide("5° past")
}

// Where an inferred side changes by itself it says nothing: at the meridian, whatever is missed of it and whoever tells, as late as the file has the
// mount change over, and under the pole.
func TestInferredSideChangesByItself(t *testing.T) {
	later := func(r *rig.Rig) { r.Mount.MeridianDelay = unit.Deg(12) }
	flips := func(r *rig.Rig) { r.Mount.FlipsItself, r.Mount.FlipAt = true, unit.Deg(30) }
	for _, c := range []struct {
		name   string
		rig    []func(*rig.Rig)
		h, dec float64
		every  time.Duration
		times  int
		say    func(n *night, i int, x *question.Sample)
	}{
		{name: "tracked through", h: -4, dec: 30, every: time.Minute, times: 40},
		{name: "reckoned", rig: []func(*rig.Rig){onlyReckoned}, h: -4, dec: 30, every: time.Minute, times: 40},
		{name: "long gaps", h: -15, dec: 30, every: 40 * time.Minute, times: 3},
		{name: "a little late, seen seldom", h: -6, dec: 30, every: 14 * time.Minute, times: 4, say: func(n *night, _ int, x *question.Sample) {
			if hour := (n.m.lst().Sidereal - x.Belief.Sky.RA).Wrapped(); hour < unit.Deg(1.5) {
				x.Belief.Side = rig.West
			}
		}},
		{name: "a little early, seen seldom", h: -8, dec: 30, every: 14 * time.Minute, times: 4, say: func(n *night, _ int, x *question.Sample) {
			if hour := (n.m.lst().Sidereal - x.Belief.Sky.RA).Wrapped(); hour > unit.Deg(-1.5) {
				x.Belief.Side = rig.East
			}
		}},
		{name: "sides told seldom", h: -4, dec: 30, every: 5 * time.Minute, times: 10, say: func(_ *night, i int, x *question.Sample) {
			if i%9 != 0 {
				x.Belief.Side = ""
			}
		}},
		{name: "changes late, as the file says", rig: []func(*rig.Rig){later}, h: -4, dec: 30, every: time.Minute, times: 80, say: func(n *night, _ int, x *question.Sample) {
			if hour := (n.m.lst().Sidereal - x.Belief.Sky.RA).Wrapped(); hour < unit.Deg(11) {
				x.Belief.Side = rig.West
			}
		}},
		{name: "told by two programs, one of which infers", h: -4, dec: 30, every: time.Minute, times: 60, say: func(_ *night, i int, x *question.Sample) {
			if i%2 == 0 {
				x.Asker, x.Belief.Side = "another", rig.West
			}
		}},
		{name: "told to flip by itself", rig: []func(*rig.Rig){flips}, h: 26, dec: 30, every: time.Minute, times: 30, say: func(n *night, _ int, x *question.Sample) {
			if hour := (n.m.lst().Sidereal - x.Belief.Sky.RA).Wrapped(); hour > unit.Deg(29) {
				x.Belief.Side = rig.West
			}
		}},
		{name: "under the pole", h: 176, dec: 75, every: time.Minute, times: 40},
		{name: "near the pole, by another equinox", h: -20, dec: 87, every: time.Minute, times: 10, say: func(_ *night, i int, x *question.Sample) {
			if i > 5 {
				x.Belief.Side = x.Belief.Side.Other()
			}
		}},
	} {
		n := homed(t, append(c.rig, inferred, func(r *rig.Rig) { r.Travel = rig.Travel{Low: rig.DegAxes(-300, -170), High: rig.DegAxes(300, 170)} })...)
		n.tracked(c.h, c.dec)
		require.Equal(t, question.Known, n.state(), "%s: %s", c.name, n.said())
		told := map[rig.Side]bool{}
		for i := range c.times {
			n.m.wait(c.every)
			x := n.m.sample()
			if c.say != nil {
				c.say(n, i, &x)
			}
			told[x.Belief.Side] = true
			n.take(Observe(n.w, n.s, x))
			n.honest()
		}
		delete(told, "")
		assert.Len(t, told, 2, "%s: the side told changed", c.name)
		assert.Empty(t, n.s.Doubt, c.name)
		assert.NotContains(t, n.kinds(), UnaskedMotion, c.name)
	}
}

// A side that is sensed on the other one sooner than the axes turn there leaves both places too.
func TestSensedSideSoonerThanTheAxesTurn(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"reckoned": onlyReckoned, "belief": func(*rig.Rig) {}} {
		for _, h := range []float64{-35, 1} {
			n := homed(t, source)
			n.tracked(h, 35)
			n.m.wait(time.Second)
			n.turnOver()
			n.look()
			n.doubtsSide(name)
		}
	}
}

// Where the sides meet a sensed one may be either.
func TestSensedSideAtThePole(t *testing.T) {
	n := homed(t)
	n.tracked(-20, 89.5)
	n.m.wait(time.Minute)
	x := n.m.sample()
	x.Belief.Side = x.Belief.Side.Other()
	n.take(Observe(n.w, n.s, x))
	n.honest()
	assert.Equal(t, question.Known, n.state(), n.said())
	assert.Empty(t, n.notes)
}

// Whatever a mount tells, where the axes are read, or its side is sensed, another side told is judged by those.
func TestToldSideBesideBetterSources(t *testing.T) {
	n := readsSide(t, rig.German, -35, 35, withCount)
	n.m.wait(time.Minute)
	x := n.m.sample()
	x.Belief.Side = rig.East
	n.take(Observe(n.w, n.s, x))
	assert.Equal(t, question.Known, n.state())
	assert.Empty(t, n.notes)
}

// A permitted change of sides in place that nothing but the side told shows yet is no unasked one.
func TestToldSideUnderLeaveToChange(t *testing.T) {
	for _, c := range []struct {
		side  rig.Side
		alarm bool
	}{{rig.East, false}, {rig.West, true}} {
		n := readsSide(t, rig.German, -35, 35, onlyReckoned, byAsker)
		b := n.m.belief()
		n.grant(b.Sky.RA, b.Sky.Dec, c.side, time.Hour)
		n.m.wait(time.Second)
		x := n.m.sample()
		x.Belief.Side = rig.East
		n.take(Observe(n.w, n.s, x))
		assert.Equal(t, c.alarm, slices.Contains(n.kinds(), UnaskedMotion), "%s: %s", c.side, n.said())
	}
}

// A mount that takes itself to be at home, at the pole, says nothing of sides there, sensed or not, wherever the axes are.
func TestToldSideOfABeliefAtThePole(t *testing.T) {
	for _, change := range []func(*rig.Rig){func(*rig.Rig) {}, onlyReckoned} {
		n := homed(t, change)
		n.tracked(-35, 35)
		n.m.wait(time.Minute)
		x := n.m.sample()
		x.Belief.Sky.Dec, x.Belief.Side = unit.Deg(90), rig.East
		n.take(Observe(n.w, n.s, x))
		n.honest()
		assert.Equal(t, question.Candidates, n.state(), "belief went there without leave")
		for _, note := range n.notes {
			assert.NotContains(t, note.Sentence, "turned over")
		}
	}
}
