package reach

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// axes is a pose in radians.
func axes(a1, a2 unit.Angle) rig.Axes { return rig.Axes{A1: a1, A2: a2} }

// legs of each kind from (1, 2) to (4, -5), 10 s after the start of their way: axis 1 turns up by 3, axis 2 down by 7. At constant speeds: the
// line takes 5 s, the curve 6 and 4 s of its axes.
func lineOf() leg {
	return leg{kind: lineLeg, from: axes(1, 2), to: axes(4, -5), start: 10, laws: [2]law{newLaw(1, 0.2, math.Inf(1))}}
}

func curveOf() leg {
	return leg{kind: curveLeg, from: axes(1, 2), to: axes(4, -5), start: 10, laws: [2]law{newLaw(3, 0.5, math.Inf(1)), newLaw(7, 1.75, math.Inf(1))}}
}

func rectOf() leg {
	l := curveOf()
	l.kind = rectLeg
	return l
}

func assertPose(t *testing.T, want, got rig.Axes, what string, args ...any) {
	t.Helper()
	assert.InDeltaf(t, float64(want.A1), float64(got.A1), 1e-12, "axis 1 "+what, args...)
	assert.InDeltaf(t, float64(want.A2), float64(got.A2), 1e-12, "axis 2 "+what, args...)
}

// TestPosesOfLegs: where a leg is at a mark and at a time, and which mark a time has.
func TestPosesOfLegs(t *testing.T) {
	line, curve, box := lineOf(), curveOf(), rectOf()
	assert.Equal(t, []float64{5, 6, 10}, []float64{line.seconds(), curve.seconds(), box.seconds()}, "a rectangle takes one axis after the other")
	assert.Equal(t, []float64{1, 6, 0}, []float64{line.lastMark(), curve.lastMark(), box.lastMark()})
	for _, c := range []struct {
		l             leg
		seconds, mark float64
		pose          rig.Axes
	}{
		{line, -1, 0, axes(1, 2)}, {line, 0, 0, axes(1, 2)}, {line, 1, 0.2, axes(1.6, 0.6)}, {line, 4, 0.8, axes(3.4, -3.6)}, {line, 5, 1, axes(4, -5)}, {line, 9, 1, axes(4, -5)},
		{curve, -1, 0, axes(1, 2)}, {curve, 0.5, 0.5, axes(1.25, 1.125)}, {curve, 2, 2, axes(2, -1.5)}, {curve, 4, 4, axes(3, -5)}, {curve, 5, 5, axes(3.5, -5)}, {curve, 6, 6, axes(4, -5)}, {curve, 9, 6, axes(4, -5)},
		{box, -1, 0, axes(1, 2)}, {box, 0, 0, axes(1, 2)}, {box, 0.5, 0.05, axes(1.15, 1.475)}, {box, 5, 0.5, axes(2.5, -3.25)}, {box, 9, 0.9, axes(3.7, -5)}, {box, 10, 1, axes(4, -5)}, {box, 99, 1, axes(4, -5)},
	} {
		assert.InDelta(t, c.mark, c.l.mark(c.seconds), 1e-12, "kind %d: mark at %v s", c.l.kind, c.seconds)
		assertPose(t, c.pose, c.l.point(c.l.mark(c.seconds)), "kind %d: at %v s", c.l.kind, c.seconds)
	}
	assert.Equal(t, line.to, line.point(1), "exactly")
	assert.Equal(t, box.to, box.point(1), "exactly")
	endless, none := rectOf(), rectOf()
	endless.laws[0] = newLaw(3, 0, 1)
	none.from, none.laws = none.to, [2]law{}
	assert.Zero(t, endless.mark(5), "a leg without end")
	assert.Zero(t, none.mark(5), "a leg that takes no time")
	assert.Zero(t, none.mark(0))
}

// TestTimesOfLegs: the soonest that a pose may be reached, from the start of the way.
func TestTimesOfLegs(t *testing.T) {
	line, curve, box := lineOf(), curveOf(), rectOf()
	assert.InDelta(t, 12.5, line.time(0.5, rig.Axes{}), 1e-12)
	assert.InDelta(t, 13, curve.time(3, rig.Axes{}), 1e-12)
	assert.InDelta(t, 12, box.time(0, axes(2, 0)), 1e-12, "axis 1 by 1 takes 2 s, axis 2 by 2 1.1 s")
	assert.InDelta(t, 13, box.time(0, axes(2, -3.25)), 1e-12, "axis 2 by 5.25 takes 3 s")
	assert.Equal(t, rig.Axes{}, line.bends(1), "a line is its own chord")
	assert.Equal(t, rig.Axes{}, box.bends(1))
	slow := leg{kind: curveLeg, laws: [2]law{newLaw(10, 3, 2), newLaw(10, 3, 4)}}
	assertPose(t, axes(2.25, 4.5), slow.bends(3), "of a curve")
}

// TestMoverIsWhoArrivesLast, or of an ordered leg who turns farther.
func TestMoverIsWhoArrivesLast(t *testing.T) {
	line, curve, box := lineOf(), curveOf(), rectOf()
	for _, c := range []struct {
		l    leg
		at   rig.Axes
		by   rig.Axes
		want int8
		why  string
	}{
		{line, axes(4, 2), rig.Axes{}, 1, "axis 2 turns farther"}, {curve, axes(4, 2), rig.Axes{}, 1, "axis 2 turns farther"},
		{leg{kind: lineLeg, to: axes(2, 1)}, axes(0, 1), rig.Axes{}, 0, "axis 1 does"},
		{leg{kind: lineLeg, to: axes(2, 2)}, axes(0, 1), rig.Axes{}, 0, "both as far"},
		{box, axes(2, 0), rig.Axes{}, 0, "2 s and 1.1 s"}, {box, axes(2, -3.25), rig.Axes{}, 1, "2 s and 3 s"}, {box, axes(2, -1.5), rig.Axes{}, 0, "both 2 s"},
		{box, axes(2, -3.25), axes(0, 3.5), 0, "2 s and 1 s, if the pose is there by its spread"},
		{box, axes(2, 0.25), axes(0.9, 0), 1, "0.2 s and 1 s"},
		{box, axes(1.2, 1.9), axes(0.5, 0.5), 0, "both at once"},
		{box, axes(1.8, 1.9), axes(0, 0.5), 0, "1.6 s and at once"}, {box, axes(1.2, 1.6), axes(0.5, 0), 1, "at once and 0.2 s"},
	} {
		assert.Equal(t, c.want, c.l.mover(c.at, c.by), "kind %d at %v: %s", c.l.kind, c.at, c.why)
	}
}

// TestMarksOfAnInterval: between which marks an axis is in an interval.
func TestMarksOfAnInterval(t *testing.T) {
	line, curve := lineOf(), curveOf()
	for _, c := range []struct {
		l           leg
		axis        int
		low, high   float64
		first, last float64
		ok          bool
	}{
		{line, 0, 1.6, 3.4, 0.2, 0.8, true}, {line, 0, 0, 2.5, 0, 0.5, true}, {line, 0, 2.5, 9, 0.5, 1, true}, {line, 0, 1, 4, 0, 1, true},
		{line, 0, 4, 9, 1, 1, true}, {line, 0, 0, 1, 0, 0, true}, {line, 0, 4.01, 9, 0, 0, false}, {line, 0, 0, 0.99, 0, 0, false}, {line, 0, 1.3, 1.9, 0.1, 0.3, true},
		{line, 1, -3.6, 0.6, 0.2, 0.8, true}, {line, 1, -1.5, 9, 0, 0.5, true}, {line, 1, -9, -1.5, 0.5, 1, true}, {line, 1, 2, 9, 0, 0, true}, {line, 1, -9, -5, 1, 1, true},
		{line, 1, 2.01, 9, 0, 0, false}, {line, 1, -9, -5.01, 0, 0, false},
		{curve, 0, 1.5, 2, 1, 2, true}, {curve, 0, 1.25, 9, 0.5, 6, true}, {curve, 1, -1.5, 0.25, 1, 2, true}, {curve, 1, -5, 0.25, 1, 6, true}, {curve, 1, 1.125, 3, 0, 0.5, true},
		{leg{kind: lineLeg, from: axes(1, 2), to: axes(1, 2)}, 0, 0.9, 1.1, 0, 1, true}, {leg{kind: lineLeg, from: axes(1, 2), to: axes(1, 2)}, 1, 2, 2, 0, 1, true},
	} {
		first, last, ok := c.l.marks(c.axis, c.low, c.high)
		assert.Equal(t, c.ok, ok, "kind %d, axis %d in %v … %v", c.l.kind, c.axis+1, c.low, c.high)
		assert.InDelta(t, c.first, first, 1e-12, "kind %d, axis %d in %v … %v: first", c.l.kind, c.axis+1, c.low, c.high)
		assert.InDelta(t, c.last, last, 1e-12, "kind %d, axis %d in %v … %v: last", c.l.kind, c.axis+1, c.low, c.high)
	}
}

func TestRectangles(t *testing.T) {
	assert.Equal(t, rect{axes(0.5, -5.25), axes(4.5, 2.25)}, hull(axes(1, 2), axes(4, -5), axes(0.5, 0.25)))
	assert.Equal(t, rect{axes(0.5, -5.25), axes(4.5, 2.25)}, hull(axes(4, -5), axes(1, 2), axes(0.5, 0.25)))
	a, b := rect{axes(0, 10), axes(2, 13)}, rect{axes(1, 9), axes(4, 12)}
	assert.Equal(t, rect{axes(1, 10), axes(2, 12)}, a.meet(b))
	assert.Equal(t, rect{axes(1, 10), axes(2, 12)}, b.meet(a))
	assert.Equal(t, axes(1, 11.5), a.middle())
	lower, higher := a, a
	assert.True(t, halve(&lower, &higher, 0))
	assert.Equal(t, []rect{{axes(0, 10), axes(1, 13)}, {axes(1, 10), axes(2, 13)}}, []rect{lower, higher})
	lower, higher = a, a
	assert.True(t, halve(&lower, &higher, 1))
	assert.Equal(t, []rect{{axes(0, 10), axes(2, 11.5)}, {axes(0, 11.5), axes(2, 13)}}, []rect{lower, higher})
	for _, axis := range []int8{0, 1} {
		point, next := rect{axes(1, 1), axes(1, 1)}, unit.Angle(math.Nextafter(1, 2))
		assert.False(t, halve(&point, &point, axis), "a point")
		hair := rect{axes(1, 1), axes(next, next)}
		was := hair
		assert.False(t, halve(&hair, &hair, axis), "nothing lies between its edges")
		below := rect{axes(-next, -next), axes(-1, -1)}
		assert.False(t, halve(&below, &below, axis), "nothing lies between its edges")
		assert.Equal(t, was, hair)
	}
}

// TestClipHoldsWhatIsSwept: every pose of the leg and its spread that lies in the cell lies in the rectangle, and comes from its marks; and
// the rectangle is no larger than the stretch and its spread.
func TestClipHoldsWhatIsSwept(t *testing.T) {
	line, box := lineOf(), rectOf()
	got, first, last, ok := line.clip(rect{axes(1.9, -9), axes(2.2, 9)}, axes(0.3, 0.1))
	assert.True(t, ok)
	assert.InDelta(t, 0.2, first, 1e-9, "axis 1 at 1.6")
	assert.InDelta(t, 0.5, last, 1e-9, "axis 1 at 2.5")
	near(t, rect{axes(1.9, -1.6), axes(2.2, 0.7)}, got)
	got, first, last, ok = line.clip(rect{axes(-9, -1.7), axes(9, -1.4)}, axes(0.1, 0.2)) // by axis 2
	assert.True(t, ok)
	assert.InDelta(t, 3.2/7, first, 1e-9)
	assert.InDelta(t, 3.9/7, last, 1e-9)
	near(t, rect{axes(1+3*3.2/7-0.1, -1.7), axes(1+3*3.9/7+0.1, -1.4)}, got)
	got, first, last, ok = box.clip(rect{axes(0, -6), axes(2, 0)}, axes(0.3, 0.1))
	assert.True(t, ok)
	assert.Equal(t, []float64{0, 1}, []float64{first, last})
	near(t, rect{axes(0.7, -5.1), axes(2, 0)}, got)
	for what, cell := range map[string]rect{
		"before axis 1": {axes(0, -1), axes(0.6, 1)}, "after axis 1": {axes(4.4, -1), axes(5, 1)}, "before axis 2": {axes(2, 2.2), axes(3, 3)}, "after axis 2": {axes(2, -7), axes(3, -5.2)},
	} {
		for _, l := range []leg{line, box, curveOf()} {
			_, first, last, ok := l.clip(cell, axes(0.3, 0.1))
			assert.False(t, ok, "kind %d, %s", l.kind, what)
			if l.kind != rectLeg {
				assert.Zero(t, first)
				assert.Zero(t, last)
			}
		}
	}
	_, _, _, ok = line.clip(rect{axes(1, -5), axes(1.5, -4)}, rig.Axes{})
	assert.False(t, ok, "each axis comes there, but not at once")
	for what, cell := range map[string]rect{"a point of it": {axes(2.5, -1.5), axes(2.5, -1.5)}, "its start": {axes(0, 2), axes(1, 3)}, "its end": {axes(4, -6), axes(5, -5)}} {
		_, first, last, ok = line.clip(cell, rig.Axes{})
		assert.True(t, ok, what)
		assert.LessOrEqual(t, first, last, what)
		_, _, _, ok = box.clip(cell, rig.Axes{})
		assert.True(t, ok, what)
	}
}

// near compares rectangles to what rounding may widen them by.
func near(t *testing.T, want, got rect) {
	t.Helper()
	for _, p := range [][2]rig.Axes{{want.low, got.low}, {want.high, got.high}} {
		assert.InDelta(t, 0, float64(p[0].Sub(p[1]).Abs().Max()), 1e-9, "want %v, got %v", want, got)
	}
}

// TestClipByLot draws cells and poses.
func TestClipByLot(t *testing.T) {
	r := rand.New(rand.NewPCG(29, 11))
	r1 := func(by float64) unit.Angle { return unit.Angle(by * (2*r.Float64() - 1)) }
	for range 3000 {
		l := leg{kind: legKind(r.IntN(3)), from: axes(r1(7), r1(7)), to: axes(r1(7), r1(7))}
		d := l.to.Sub(l.from).Abs()
		l.laws = [2]law{newLaw(float64(d.A1), 1, 2), newLaw(float64(d.A2), 3, 1)}
		if l.kind == lineLeg {
			l.laws = [2]law{newLaw(1, 1, 2)}
		}
		spread := axes(r1(0.2), r1(0.2)).Abs()
		mark := r.Float64() * l.lastMark()
		if l.kind == rectLeg {
			mark = r.Float64()
		}
		at := l.point(mark).Add(axes(unit.Angle(r.Float64()*2-1)*spread.A1, unit.Angle(r.Float64()*2-1)*spread.A2))
		cell := hull(at, at.Add(axes(r1(1), r1(1))), rig.Axes{})
		got, first, last, ok := l.clip(cell, spread)
		assert.True(t, ok, "%+v meets %+v", l, cell)
		assert.True(t, first <= mark && mark <= last, "mark %v of %v … %v", mark, first, last)
		assert.True(t, got.low.A1 <= at.A1 && at.A1 <= got.high.A1 && got.low.A2 <= at.A2 && at.A2 <= got.high.A2, "%v in %v", at, got)
		seen := l.within(got.middle(), first+(last-first)/2, spread)
		if off := seen.Sub(l.point(first + (last-first)/2)).Abs(); l.kind != rectLeg {
			assert.True(t, off.A1 <= spread.A1+1e-12 && off.A2 <= spread.A2+1e-12, "a pose of the set: %v from it, of %v", off, spread)
		}
	}
}

// TestWithinIsNearTheMiddle as far as the spread lets it.
func TestWithinIsNearTheMiddle(t *testing.T) {
	line, box := lineOf(), rectOf()
	cell := rect{axes(2, -3), axes(3, 1)} // its middle is (2.5, -1), the line's (2.5, -1.5)
	assertPose(t, axes(2.5, -1.5), line.within(cell.middle(), 0.5, rig.Axes{}), "without spread")
	assertPose(t, axes(2.5, -1.3), line.within(cell.middle(), 0.5, axes(0.1, 0.2)), "toward the middle")
	assertPose(t, axes(2.5, -1), line.within(cell.middle(), 0.5, axes(0.1, 0.9)), "at the middle")
	assertPose(t, axes(1.7, 0.4), line.within(cell.middle(), 0.2, axes(0.1, 0.2)), "from before it")
	assertPose(t, axes(3.3, -3.4), line.within(cell.middle(), 0.8, axes(0.1, 0.2)), "from behind it")
	assertPose(t, axes(2.5, -1), box.within(cell.middle(), 0.2, rig.Axes{}), "of a rectangle")
}

// TestFuzzIsFarAboveRounding and grows with the angles.
func TestFuzzIsFarAboveRounding(t *testing.T) {
	l := leg{from: axes(-10, 40), to: axes(30, -5)}
	assert.InEpsilon(t, 64e-15*41, float64(l.fuzz().A1), 1e-9)
	assert.InEpsilon(t, 64e-15*46, float64(l.fuzz().A2), 1e-9)
	l = leg{}
	assert.InEpsilon(t, 64e-15, float64(l.fuzz().A1), 1e-9)
	assert.InEpsilon(t, 64e-15, float64(l.fuzz().A2), 1e-9)
}
