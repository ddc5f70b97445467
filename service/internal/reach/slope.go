package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file bounds from below how fast a gap widens over a part by what the gap is a little farther along the creep. It goes by no place
// where the gap may end, and so does not mind edges, beside which opening.go needs parts of hundredths of a degree.
//
// Let d be the distance of a and b, x and y their nearest points at a pose, z = y - x, and let the axes turn on by s1 and s2 from there. The same
// two points are then |z + D| apart, D being how far y moves against x, so that d grows to no more than
//
//	|z + D| ≤ |z| + z·D/|z| + |D|²/2|z|.
//
// D is linear in s1 and s2 but for rests of ρ1·s1²/2, ρ2·s2²/2 and ρ2·|s1·s2|, ρ being the reach of the pair from an axis, and |D| ≤ ρ1·|s1| + ρ2·|s2|.
// So d lies below a linear function and k1·s1² + k2·s2² more, with k1 = ρ1²/d + (ρ1 + ρ2)/2 and k2 = ρ2²/d + ρ2 where both axes turn, and k = ρ²/2d + ρ/2
// where one does, and that from every pose of a rectangle, d being the least there: F = d - k1·t1² - k2·t2² is concave over it, t counted from its middle.
// Along the creep, say of axis 1, a concave function grows from a pose at least as fast as from there to τ farther on. At a pose of the part F is no
// more than by its tangent at the middle, which the two points found there give, and τ farther on no less than between the corners of the part
// moved on by τ. Both are known, and the difference, with the 2·k1·t1 by which d grows faster than F, takes its least value at a corner:
//
//	rate ≥ min over corners c of (d(c + τ) - k1·(c1 + τ)² - k2·c2² - d(0) - tangent·c)/τ + 2·k1·c1.
//
// What is given away, k1·τ + (k1·α² + k2·β²)/τ of a part α by β either way, is least for τ² = α² + β²·k2/k1.

// slopeRounding is what two distances may be out by together, mm, and leastOn the shortest turn over which they are compared, in radians. Choices: far above
// the rounding of lengths of metres, and far below what turns a part by what counts.
const (
	slopeRounding = 1e-6
	leastOn       = 1e-4
)

// slope bounds how fast the gap of two bodies of a pair widens, mm per radian, all over a part: now is that gap at the pose looked at, between what
// comes from shapes. A bound that is not a number bounds nothing. It names the axis to cut where that is too little.
func (c *creeping) slope(v *sight, i int32, now *solid.Gap, shapes func(body int32) *solid.Shape) (rate float64, long int8) {
	q := &c.p.pairs[i]
	s := c.bends(v, q, now.Lower)
	if !(s.least > 0) {
		return math.Inf(-1), s.long
	}
	z := now.B.Sub(now.A)
	n := z.Scale(1 / z.Norm())
	var tangent [2]float64
	for k, l := range c.lines(v) {
		tangent[k] = n.Dot(l.dir.Cross(now.B.Sub(l.at)))
	}
	along, across := c.axis, 1-c.axis
	tangent[along] *= float64(c.dir) // counted along the creep, as x is
	rate = math.Inf(1)
	for _, x := range [2]float64{-s.half[along], s.half[along]} {
		for _, y := range [2]float64{-s.half[across], s.half[across]} {
			var by [2]unit.Angle
			by[along], by[across] = c.dir*unit.Angle(x+s.on), unit.Angle(y)
			motion := c.motion(v.cell.class, v.pose.Add(rig.Axes{A1: by[0], A2: by[1]}))
			var b solid.Shape
			solid.Place(&b, shapes(q.b), &motion)
			grown := solid.Distance(*shapes(q.a), b).Lower - slopeRounding - z.Norm() - tangent[along]*x - tangent[across]*y
			grown -= s.bend[along]*(x+s.on)*(x+s.on) + s.bend[across]*y*y
			rate = min(rate, grown/s.on+2*s.bend[along]*x)
		}
	}
	return rate, s.long
}

// bending is what slope goes by.
type bending struct {
	half  [2]float64 // of the part, by axis: α and β
	bend  [2]float64 // k1 and k2
	on    float64    // τ
	least float64    // the gap, all over the part and as far beyond
	long  int8       // the axis by which more is given away
}

// bends works out how a gap bends over a part at most.
func (c *creeping) bends(v *sight, q *pair, gap float64) (s bending) {
	t1, t2 := v.cell.class.turns()
	s.half = [2]float64{float64(v.half.A1) * float64(b2i(t1)), float64(v.half.A2) * float64(b2i(t2))}
	along, across := c.axis, 1-c.axis
	r1, r2 := c.reaches(v, q)
	reach := [2]float64{r1, r2}
	s.on = max(leastOn, math.Hypot(s.half[along], s.half[across]*reach[across]/reach[along]))
	if s.long = along; s.half[across]*reach[across] > s.half[along]*reach[along] {
		s.long = across
	}
	far := s.half
	far[along] += s.on
	s.least = gap - r1*chord(unit.Angle(far[0])) - r2*chord(unit.Angle(far[1]))
	reach[0] += r2 * chord(unit.Angle(far[1])) // by so much more what turns with axis 2 may come to stand off axis 1
	if s.half[across] == 0 {
		s.bend[along] = reach[along]*reach[along]/(2*s.least) + reach[along]/2
	} else {
		s.bend = [2]float64{reach[0]*reach[0]/s.least + (reach[0]+r2)/2, r2*r2/s.least + r2}
	}
	s.bend[0], s.bend[1] = s.bend[0]*c.doubt, s.bend[1]*c.doubt
	return s
}
