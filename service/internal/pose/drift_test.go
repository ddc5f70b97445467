package pose

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// camera takes pictures of a rig in a picture's own terms: off by so many arcminutes along, from where the pose looks.
type camera struct {
	*night
	taken int
}

func filming(t *testing.T) *camera {
	n := eyed(t, rig.MotorCount, rig.KeptOnAxes)
	n.s.Pointing = nil // nothing is learnt yet
	return &camera{night: n}
}

// shot is a good solve minutes after the last at a pose, off on axis 2 by so many arcminutes.
func (c *camera) shot(pose rig.Axes, minutes int, off float64) question.JudgedSolve {
	c.taken++
	c.m.wait(time.Duration(minutes) * time.Minute)
	return question.JudgedSolve{
		RequestID: fmt.Sprint("shot ", c.taken), Picture: fmt.Sprint("picture ", c.taken), At: c.m.at, Mid: c.m.at, Optics: "main", Good: true, Agreed: true,
		Side: c.w.Rig.Kind.SideOf(pose), Pose: pose, Solved: pose.Add(rig.Axes{A2: unit.Arcmin(off)}), Verdict: question.Held,
	}
}

// film takes pictures and returns the longest sum after the last.
func (c *camera) film(pose rig.Axes, offs ...float64) float64 {
	c.t.Helper()
	var j question.JudgedSolve
	for _, off := range offs {
		j = c.shot(pose, 1, off)
		before := Drifted(c.w.Rig, c.s, j)
		s, _ := Evidence(c.w, c.s, j)
		c.s = s
		require.Equal(c.t, before, c.s.Drifts[driftOf(j)], "a question is told what will be held")
	}
	return c.sum(j)
}

// accepted takes a picture that is accepted.
func (c *camera) accepted(pose rig.Axes, off float64) question.JudgedSolve {
	j := c.shot(pose, 1, off)
	j.Verdict = question.Leaved
	c.s, _ = Evidence(c.w, c.s, j)
	return j
}

func (c *camera) sum(j question.JudgedSolve) float64 {
	return pointing.Longest(c.s.Drifts[driftOf(j)].Sums)
}

var field = rig.DegAxes(-30, 50)

// The sums by hand, of the figures above: 4′ on one field a minute apart are two standard deviations of 2′, less a half each.
func TestDriftOfOneField(t *testing.T) {
	step := 4/math.Hypot(2, 1.0/60) - 0.5
	assert.InDelta(t, 0, filming(t).film(field, 0), 0)
	assert.InDelta(t, step, filming(t).film(field, 0, 4), 0.03) // the terms leave a little open between two poses of one field
	assert.InDelta(t, 2*step, filming(t).film(field, 0, 4, 8), 0.06)
	assert.InDelta(t, 2*step, filming(t).film(field, 0, -4, -8), 0.06, "either way")
	assert.InDelta(t, mostDrift, filming(t).film(field, 0, 4, 8, 12, 16, 20, 24), 0, "and no more")
	assert.LessOrEqual(t, filming(t).film(field, 0, 4, 8, 12, 16, 16, 16, 16, 16), 4.0, "four that shift as the axes do end it")
	assert.InDelta(t, 3, filming(t).film(field, 0, 600), 0, "one wild solve is none")
	assert.LessOrEqual(t, filming(t).film(field, 0, 9, 10.8), 4.0, "nor is a kick, and what is ordinary after it")
	assert.InDelta(t, 3, filming(t).film(field, 0, 4, 8, 0), 0.1, "one that comes back takes all away, and counts itself")
	assert.InDelta(t, 2*step-1, filming(t).film(field, 0, 4, 8, 8, 8), 0.1, "those that stay take a half each")
	assert.InDelta(t, 0, filming(t).film(field, 0, 0.9, 0, 0.9, 1.8, 2.7), 0.01, "what bends")
}

// Where solves drifted off accepted ones, that they stay where they went to ends nothing: as many as lie again where those did do. On one field the
// root of 13.8 times 2′ is 7.4′.
func TestDriftThatStaysIsNotOver(t *testing.T) {
	stays := func(offs ...float64) float64 {
		c := filming(t)
		c.accepted(field, 0)
		c.film(field, 4, 8, 12)
		return c.film(field, offs...)
	}
	full := stays(16, 20, 24)
	assert.InDelta(t, mostDrift, full, 0)
	assert.InDelta(t, full, stays(16, 20, 24, 24, 24, 24, 24, 24, 24, 24, 24, 24), 0)
	assert.InDelta(t, full, stays(16, 20, 24, -24, -24, -24, -24, -24), 0, "nor does the other side of where they were")
	assert.Greater(t, stays(16, 12, 8, 7.6, 7.6, 7.6, 7.6, 7.6, 7.6), 5.9, "they come back, but not all the way")
	assert.Less(t, stays(16, 12, 8, 7.2, 7.2, 7.2, 7.2, 7.2), 4.0)
	assert.Less(t, stays(0, 0, 0, 0, 0), 4.0)

	few := filming(t)
	few.accepted(field, 0)
	two := few.film(field, 4, 9.3)
	require.Greater(t, two, 3.5)
	assert.Less(t, few.film(field, 9.3), two, "so little has not drifted yet")
	assert.InDelta(t, 3, func() float64 { c := filming(t); c.accepted(field, 0); return c.film(field, 4, 8) }(), 0.05)

	far := filming(t) // elsewhere the terms excuse some: 10′ each way, 37′ in all
	far.accepted(field, 0)
	require.InDelta(t, mostDrift, far.film(field, 4, 8, 12, 16, 20, 24), 0)
	there := field.Add(rig.DegAxes(60, 0))
	near, off := far.s, far.s
	for range 8 {
		j := far.shot(there, 1, 36)
		near, _ = Evidence(far.w, near, j)
		j.Solved = j.Pose.Add(rig.Axes{A2: unit.Arcmin(39)})
		off, _ = Evidence(far.w, off, j)
	}
	assert.Less(t, pointing.Longest(near.Drifts["east main"].Sums), 4.0)
	assert.InDelta(t, mostDrift, pointing.Longest(off.Drifts["east main"].Sums), 0)
}

// What a drift is held against is the last picture that was accepted and found nothing come together.
func TestWhereADriftBegan(t *testing.T) {
	from := func(c *camera) question.Drift { return c.s.Drifts["east main"] }
	c := filming(t)
	c.film(field, 0)
	assert.True(t, from(c).FromMid.IsZero(), "held")
	first := c.accepted(field, 0)
	assert.Equal(t, []any{first.Mid, first.Pose, first.Solved}, []any{from(c).FromMid, from(c).FromPose, from(c).FromSolved})
	c.film(field, 4)
	c.accepted(field, 8)
	assert.Equal(t, first.Mid, from(c).FromMid, "something had come together")
	c.film(field, 8, 8, 8, 8, 8, 8, 8)
	later := c.accepted(field, 8)
	assert.Equal(t, later.Mid, from(c).FromMid)

	confirmed := c.shot(field, 1, 20)
	confirmed.Confirmed = true
	assert.True(t, Drifted(c.w.Rig, c.s, confirmed).FromMid.IsZero(), "two pictures say that the mount moved")
	confirmed.Verdict = question.Accepted
	assert.Equal(t, confirmed.Mid, Drifted(c.w.Rig, c.s, confirmed).FromMid, "and it was taken")
}

// Pictures that follow each other fast, or one told again, take nothing away, nor do small steps hide among them.
func TestDriftGoesByTime(t *testing.T) {
	c := filming(t)
	held := c.film(field, 0, 4, 8, 12)
	again := c.shot(field, 0, 12)
	for range 12 {
		s, _ := Evidence(c.w, c.s, again)
		c.s = s
	}
	assert.InDelta(t, held, c.sum(again), 0.01)

	fast := filming(t)
	fast.film(field, 0)
	var j question.JudgedSolve
	for k := range 60 {
		j = fast.shot(field, 0, 0.7*float64(k+1))
		fast.m.wait(2 * time.Second)
		j.Mid = fast.m.at
		s, _ := Evidence(fast.w, fast.s, j)
		fast.s = s
	}
	assert.InDelta(t, mostDrift, fast.sum(j), 0, "42′ in two minutes")
}

// Pictures of other fields count by what the terms leave open between them: little where they lie near, nothing much where far, while nothing was learnt.
func TestDriftBetweenFields(t *testing.T) {
	between := func(apart float64) float64 {
		c := filming(t)
		c.film(field, 0)
		return c.film(field.Add(rig.DegAxes(0, apart)), 10)
	}
	assert.InDelta(t, 3, between(0.1), 0)
	assert.Greater(t, between(2), 1.5)
	assert.Less(t, between(2), 2.9, "and what the terms leave out")
	assert.Less(t, between(60), between(2), "of which the terms leave more open")

	c := filming(t)
	c.film(field, 0, 4, 8)
	over := c.shot(rig.DegAxes(150, -50), 0, 0)
	assert.InDelta(t, 0, c.sum(over), 0, "the other side has sums of its own")
	guide := c.shot(field, 1, 99)
	guide.Optics = "guide"
	assert.InDelta(t, 0, pointing.Longest(Drifted(c.w.Rig, c.s, guide).Sums), 0, "and so have other optics")
}

// An hour adds a minute of arc, and a picture of which two say that the mount moved counts for nothing.
func TestWhatIsNoDrift(t *testing.T) {
	c := filming(t)
	c.film(field, 0)
	late := c.shot(field, 120, 4)
	assert.InDelta(t, 4/math.Hypot(2, 2)-0.5, pointing.Longest(Drifted(c.w.Rig, c.s, late).Sums), 0.03)

	confirmed := c.shot(field, 1, 15)
	confirmed.Confirmed = true
	d := Drifted(c.w.Rig, c.s, confirmed)
	assert.InDelta(t, 0, pointing.Longest(d.Sums), 0)
	assert.Equal(t, confirmed.Mid, d.Mid, "the next goes on from it")

	far := c.shot(field, 1, 15)
	far.Agreed = false
	assert.Equal(t, c.s.Drifts[driftOf(far)], Drifted(c.w.Rig, c.s, far), "held for where it lies")
	against := c.shot(field, 1, 15)
	against.Against, against.Agreed, against.OffsetSky = true, false, unit.Arcmin(400)
	s, _ := Evidence(c.w, c.s, against)
	assert.Equal(t, c.s.Drifts, s.Drifts)
	after := c.shot(field, 1, 15)
	s, _ = Evidence(c.w, s, after)
	assert.Equal(t, c.s.Drifts, s.Drifts, "the pose is in doubt by that")

	reckoned := c.s
	reckoned.Pose.Source = rig.Reckoned
	led := filming(t)
	led.film(field, 0, 4, 8, 12)
	ledOn := led.s
	ledOn.Pose.Source = rig.Reckoned
	for apart, counts := range map[float64]bool{0: true, 0.9: true, 1.1: false} {
		j := c.shot(field.Add(rig.DegAxes(0, apart)), 1, 15)
		d := Drifted(c.w.Rig, reckoned, j)
		assert.Equal(t, counts, pointing.Longest(d.Sums) > 0, "a reckoned pose loses with each slew: %v°", apart)
		if !counts {
			assert.InDelta(t, pointing.Longest(ledOn.Drifts[driftOf(j)].Sums)-driftSlack, pointing.Longest(Drifted(c.w.Rig, ledOn, j).Sums), 0.01, "it counts as one that shifts as the axes turn")
		}
		assert.Equal(t, j.Mid, d.Mid, "and the next goes on from there")
	}

	poor := c.shot(field, 1, 15)
	poor.Good = false
	s, _ = Evidence(c.w, c.s, poor)
	assert.Equal(t, c.s.Drifts, s.Drifts)
}

// A homing at which the axes had turned unseen explains what the pictures shifted by. One at which they had not lets the next go on from the last, from
// where the axes now count; where nothing tells, four pictures end it. Acts after which solves cannot be compared end it too.
func TestDriftThroughAHoming(t *testing.T) {
	led := func(slip float64) *camera {
		c := filming(t)
		c.toAxes(field, false)
		require.Greater(t, c.film(field, 0, 4, 8, 12), 4.0)
		c.m.axes.A1 += unit.Deg(slip)
		c.m.fault.A1 += unit.Deg(slip)
		c.toAxes(c.w.Rig.Home, false)
		c.m.wait(2 * time.Second)
		c.look()
		return c
	}
	same := led(0)
	same.byEye(same.w.Rig.Home, nil)
	assert.Greater(t, same.film(field, 16), 5.0, "pictures go on from the last")

	near := led(0.4)
	near.byEye(near.w.Rig.Home, nil)
	assert.Greater(t, near.sum(near.shot(field, 1, 0)), 4.0, "eyes may be off by that")

	far := led(1.2)
	far.byEye(far.w.Rig.Home, nil)
	assert.Empty(t, far.s.Drifts)

	sure := led(0)
	said := rig.DegAxes(0.5, 0.5)
	sure.byEye(sure.w.Rig.Home, &said)
	assert.Empty(t, sure.s.Drifts)

	silent := led(0)
	silent.m.wait(20 * time.Minute) // the last sample is too old to tell
	silent.byEye(silent.w.Rig.Home, nil)
	assert.Greater(t, silent.film(field, 16), 4.0, "what was summed stays")
	assert.LessOrEqual(t, silent.film(field, 16, 16), 4.0, "and the pictures begin anew")

	for _, act := range []ActKind{TripodMoved, PolarAxisAdjusted, PayloadChanged, ClockSet, SiteSet, ClutchOpened, "none that is known"} {
		c := led(0)
		x := c.m.sample()
		s, _ := Acted(c.w, c.s, Act{Kind: act, Person: "A. Nyman"}, &x)
		assert.Empty(t, s.Drifts, act)
	}
}

// Sensors repeat to minutes: what misses one by more turned unseen.
func TestDriftThroughASensedHoming(t *testing.T) {
	for _, miss := range []struct {
		arcmin float64
		ends   bool
	}{{3, false}, {6, true}} {
		c := filming(t)
		c.film(field, 0, 4, 8, 12)
		turn := begin(c.w, c.s)
		h := *c.s.Homing
		h.Sensed = true
		turn.s.Homing = &h
		turn.rezeroDrifts(&h, rig.Axes{A1: unit.Arcmin(miss.arcmin)}, true)
		assert.Equal(t, miss.ends, len(turn.s.Drifts) == 0, miss.arcmin)
		assert.NotEmpty(t, c.s.Drifts, "a state is a value")
		for key, d := range turn.s.Drifts {
			assert.InDelta(t, -miss.arcmin, d.Pose.Sub(c.s.Drifts[key].Pose).A1.Arcmin(), 1e-9)
			assert.InDelta(t, -miss.arcmin, d.FromPose.Sub(c.s.Drifts[key].FromPose).A1.Arcmin(), 1e-9)
		}
	}
}

// Where nothing tells how far the axes had turned, a sensor stops them where it did before, and a person sees them where a person does.
func TestDriftThroughAHomingOfWhichNothingTells(t *testing.T) {
	for _, sensed := range []bool{true, false} {
		c := filming(t)
		first := c.accepted(field, 0)
		c.film(field, 4, 8, 12)
		turn := begin(c.w, c.s)
		h := *c.s.Homing
		h.Sensed = sensed
		turn.s.Homing = &h
		turn.rezeroDrifts(&h, rig.Axes{}, false)
		d := turn.s.Drifts["east main"]
		assert.True(t, d.Mid.IsZero())
		assert.Equal(t, sensed, d.FromMid.Equal(first.Mid), sensed)
		assert.Equal(t, !sensed, d.FromMid.IsZero(), sensed)
	}
}
