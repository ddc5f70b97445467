package pose

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// ledBy takes an accepted picture and held ones off by so many arcminutes, one after the other.
func ledBy(t *testing.T, offs ...float64) *camera {
	c := filming(t)
	c.accepted(field, 0)
	for _, off := range offs {
		c.held(field, off)
	}
	return c
}

// held takes a picture that lies farther off than expected.
func (c *camera) held(pose rig.Axes, off float64) {
	j := c.shot(pose, 1, off)
	j.Agreed, j.Against = false, true
	c.s, _ = Evidence(c.w, c.s, j)
}

// led is how far off, arcminutes, one more picture is held to lie where those before it had been led to.
func (c *camera) led(pose rig.Axes, off float64) float64 {
	return Led(c.w.Rig, c.s, c.shot(pose, 1, off)).Arcmin()
}

func (c *camera) act(kind ActKind) {
	c.s, _ = Acted(c.w, c.s, Act{Kind: kind, Person: "A. Nyman"}, nil)
}

// Solves that went off step by step are held where they stayed after somebody set axis 1 anew, on either side; where they lie nearer to what is expected
// they are a mount's that was set right.
func TestSolvesThatStayedWhereTheyWereLed(t *testing.T) {
	c := ledBy(t, 20, 40, 60)
	assert.Zero(t, c.led(field, 60), "nobody said that it was put right")
	before := c.s.Led
	c.act(PolarAxisAdjusted)
	assert.Equal(t, before["main"].Mended, false, "a state is a value")
	assert.InDelta(t, 60, c.led(field, 60), 0.01)
	assert.InDelta(t, 90, c.led(field, 90), 0.01)
	assert.Zero(t, c.led(field, 98), "37′ farther on")
	assert.InDelta(t, 45, c.led(field, 45), 0.01)
	assert.Zero(t, c.led(field, 29), "nearer to what is expected")
	assert.Zero(t, c.led(field, -60))
	assert.InDelta(t, 60, c.led(rig.DegAxes(150, -50), -60), 0.5, "on the other side of the pier axis 2 turns it over")
	assert.Zero(t, c.led(rig.DegAxes(150, -50), 60))
	guide := c.shot(field, 1, 60)
	guide.Optics = "guide"
	assert.Zero(t, Led(c.w.Rig, c.s, guide))

	c.act(PolarAxisAdjusted)
	assert.InDelta(t, 60, c.led(field, 60), 0.01, "and once more")
	c.held(field, 75)
	assert.InDelta(t, 96, c.led(field, 96), 0.01, "what lies there is no step on: 36′ from where they were")
	assert.Zero(t, c.led(field, 105))
	c.accepted(field, 0)
	assert.Zero(t, c.led(field, 60), "one was let pass")
}

// What is one step, or came back, was not led; nor does one say anything that is not good, or of which the side is not known.
func TestWhoIsNotLed(t *testing.T) {
	for name, c := range map[string]*camera{
		"a kick": ledBy(t, 60, 60, 60), "31′ are no step": ledBy(t, 31, 60), "not far": ledBy(t, 20, 36), "back again": ledBy(t, 20, 40, 20), "none": ledBy(t),
	} {
		c.act(PolarAxisAdjusted)
		assert.Empty(t, c.s.Led, name)
		assert.Zero(t, c.led(field, 60), name)
	}
	never := filming(t)
	for _, off := range []float64{0, 20, 40, 60} {
		never.held(field, off)
	}
	assert.Empty(t, never.s.Led, "none was let pass that they could be led from")
	for name, change := range map[string]func(*question.JudgedSolve){
		"no side":  func(j *question.JudgedSolve) { j.Side = "" },
		"not good": func(j *question.JudgedSolve) { j.Good = false },
	} {
		c := ledBy(t, 20)
		j := c.shot(field, 1, 40)
		change(&j)
		s, _ := Evidence(c.w, c.s, j)
		assert.Equal(t, c.s.Led, s.Led, name)
	}
	c := ledBy(t, 29.9, 38)
	c.act(PolarAxisAdjusted)
	assert.InDelta(t, 38, c.led(field, 38), 0.01, "a step, and far")
}

// A tripod that moved may have led them there. Said after solves were held for where they stayed, that lets them pass.
func TestTripodThatMovedExplains(t *testing.T) {
	c := ledBy(t, 20, 40, 60)
	c.act(TripodMoved)
	assert.Zero(t, c.led(field, 60))
	c.act(PolarAxisAdjusted)
	assert.InDelta(t, 60, c.led(field, 60), 0.01, "moved and set right")
	c.act(TripodMoved)
	assert.Zero(t, c.led(field, 60))
	assert.Empty(t, c.s.Led)
	for _, act := range []ActKind{PayloadChanged, ClockSet, SiteSet, ClutchOpened, "none that is known"} {
		c := ledBy(t, 20, 40, 60)
		c.act(act)
		assert.Empty(t, c.s.Led, act)
	}
	c = ledBy(t, 20, 40, 60)
	s, _ := Unrecorded(c.w, c.s, "entries are gone")
	assert.Empty(t, s.Led)
}

// A homing at which the axes had not turned goes on from where they count now; one at which they had, or of which a person says how sure it is, is
// another zero.
func TestLedThroughAHoming(t *testing.T) {
	for _, h := range []struct {
		step       float64
		told, said bool
		held       bool
	}{{0.2, true, false, true}, {-0.9, true, false, true}, {1.1, true, false, false}, {-1.1, true, false, false}, {0, false, false, true}, {0, true, true, false}} {
		c := ledBy(t, 20, 40, 60)
		was := c.s.Led["main"]
		turn := begin(c.w, c.s)
		by := rig.DegAxes(h.step, 0)
		turn.rezeroLed(&question.Homing{SigmaTold: h.said}, by, h.told)
		assert.Equal(t, was, c.s.Led["main"], "a state is a value")
		if !h.held {
			assert.Nil(t, turn.s.Led)
			continue
		}
		was.Pose = was.Pose.Sub(by)
		assert.Equal(t, was, turn.s.Led["main"])
	}
}

// An offset of the sky looks the same on either side, where one of axis 2 does not.
func TestOnSky(t *testing.T) {
	for _, kind := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		c := rig.NewChain(kind, unit.Deg(48), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
		r := &rig.Rig{Kind: kind, Chain: c}
		m := pointing.New(pointing.MountOf(r), rig.Axes{})
		at := rig.DegAxes(-30, 50)
		both := map[bool][2]rig.Side{true: {rig.East, rig.West}, false: {rig.First, rig.Second}}[kind == rig.German]
		to := c.Direction(at.Add(rig.DegAxes(0.2, 0.5)))
		var offs [][2]float64
		for _, side := range both {
			pose := c.Solve(kind, c.Direction(at), side)
			require.Equal(t, side, kind.SideOf(pose))
			offs = append(offs, onSky(r, &m, pose, rig.LiftNear(c.Solve(kind, to, side), pose)))
		}
		assert.InDelta(t, offs[0][0], offs[1][0], 1e-9, kind)
		assert.InDelta(t, offs[0][1], offs[1][1], 1e-9, kind)
		assert.Greater(t, math.Abs(offs[0][0]), 1e-3)
		assert.Greater(t, math.Abs(offs[0][1]), 1e-3)
	}
}

// Places that solves put the axes at go with the axis that stood so; those farther off than one leans, and those that no solve put there, stay.
func TestActsDropPlacesThatSolvesPut(t *testing.T) {
	for name, want := range map[string]int{"tilt": 1, "far": 2, "other": 2} {
		c := filming(t)
		c.toAxes(field, false)
		off := map[string]float64{"tilt": 4.9, "far": 5.2, "other": 2}[name]
		turn := begin(c.w, c.s)
		turn.s.Against = 1
		other := turn.s.Anchored[0]
		other.Axes = other.Axes.Add(rig.DegAxes(0, off))
		other.Because = bySolve + "x puts the axes"
		if name == "other" {
			other.Because = "put there by a motion"
		}
		turn.s.Doubt = "a doubt"
		turn.again([]question.Candidate{turn.s.Anchored[0], other})
		for _, act := range []ActKind{PolarAxisAdjusted, TripodMoved} {
			s, _ := Acted(c.w, turn.s, Act{Kind: act, Person: "A. Nyman"}, nil)
			assert.Len(t, s.Anchored, want, name)
			assert.Len(t, s.Pose.Candidates, want, name)
			assert.Equal(t, want == 1, s.Pose.State == question.Known, name)
			assert.Equal(t, want == 1, s.Doubt == "", name)
			assert.Equal(t, name == "far", s.Against == 1, "%s: or the next solve would settle on it by itself", name)
		}
		turn.s.Against = 0
		s, _ := Acted(c.w, turn.s, Act{Kind: TripodMoved, Person: "A. Nyman"}, nil)
		assert.Len(t, s.Anchored, 2, "no solve speaks against the pose: they come from elsewhere")
	}
	lost := filming(t)
	turn := begin(lost.w, lost.s)
	turn.s.Against, turn.s.Anchored = 1, nil
	s, _ := Acted(lost.w, turn.s, Act{Kind: TripodMoved, Person: "A. Nyman"}, nil)
	assert.Empty(t, s.Anchored)
}
