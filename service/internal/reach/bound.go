package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file bounds the gap of a pair over a whole cell from what is seen at one pose of it. Two bounds, both valid for the signed
// gap, which is the greatest separation of the two bodies along any direction.
//
// First, by displacement. T1(A1) turns about axis 1 and T2(A2) about axis 2 at its zero place; a point x of axis 2 is at
// T1(A1)·T2(A2)·x. From the pose (c1, c2) to (c1 + a, c2 + b) it moves by at most
//
//	|T1(c1+a)·T2(c2+b)·x - T1(c1+a)·T2(c2)·x| + |T1(c1+a)·T2(c2)·x - T1(c1)·T2(c2)·x|.
//
// T1(c1+a) changes no distance, so the first is the chord that x draws when it turns about axis 2 alone by b: r2·2·sin(|b|/2) with
// r2 the distance of x from axis 2, which no turn about axis 2 changes. In the second, T2(c2)·x turns about axis 1 by a: r1·2·sin(|a|/2)
// with r1 the distance of T2(c2)·x from axis 1: the reach at the cell's own A2, whatever the A2 it goes to. Moving axis 2 first
// would make r1 that of c2 + b; carried along by axis 1 it does not. The second term may use the reach of the ground body
// instead: the gap is the same if that turns by -a and the other stays. A gap changes by no more than the largest displacement.
//
// Second, by a plane. Let n be any unit vector. The gap is at least the least n·y of the moving body less the greatest n·x of the
// resting one. At a pose n·T1·T2·y is a linear function w·y + c of y at the zero pose, with w = R2ᵀ·R1ᵀ·n and c fixed by w; so it
// is at least c - h(-w), h being the farthest reach of the body at zero along a direction, a convex function. While A1 runs over
// an arc of ± α about c1, R1ᵀ·n runs over an arc of a cone, which lies in the triangle of the arc's ends and the meeting of its
// tangents there, 1/cos α farther out than the middle of the arc; likewise for axis 2. So (w, c) stays in the convex hull of nine
// known ones, and the least of the nine values c - h(-w) bounds them all: a concave function on a convex set is least at a vertex.
// This bound misses the truth by the square of the cell's size where the first misses it by the size itself.

// chord returns the chord of a circle of radius 1 under an angle, at most 2.
func chord(angle unit.Angle) float64 { return 2 * math.Sin(min(float64(angle), math.Pi)/2) }

// widestArc is the half-width up to which the plane bound is tried. Choice: at 60° its vertices stand twice as far out as the arc.
const widestArc = math.Pi / 3

// arc holds the turns back about one axis whose outcomes span those of an interval of angles: the two ends and the tangents'
// meeting. The sine and cosine of the last are stretched. An axis that does not move the pair has one, which turns nothing.
type arc struct {
	n        int
	cos, sin [3]float64
}

func still() arc { return arc{n: 1, cos: [3]float64{1}} }

// over makes the arc of an interval; ok is false where it is too wide.
func over(low, high unit.Angle) (a arc, ok bool) {
	half := float64(high-low) / 2
	if !(half <= widestArc) {
		return arc{}, false
	}
	sl, cl := math.Sincos(float64(low))
	sh, ch := math.Sincos(float64(high))
	sm, cm := math.Sincos(float64(low) + half)
	k := 1 / math.Cos(half)
	return arc{n: 3, cos: [3]float64{cl, ch, k * cm}, sin: [3]float64{sl, sh, k * sm}}, true
}

// back returns v turned back about the unit vector u by the arc's i-th turn. Source: Rodrigues' formula (Goldstein, Classical
// Mechanics, 3rd ed. 2002, eq. 4.62) with the opposite angle.
func (a *arc) back(v, u point, i int) point {
	if a.n == 1 {
		return v
	}
	level := u.Scale(u.Dot(v))
	return level.Add(v.Sub(level).Scale(a.cos[i])).Sub(u.Cross(v).Scale(a.sin[i]))
}

// plane returns the second bound of a pair's gap, along the unit vector n from the resting body to the moving one.
func (p *Prover) plane(q *pair, n point, arc1, arc2 *arc) float64 {
	c, rests, moves := &p.chain, &p.bodies[q.a].shape, &p.bodies[q.b].shape
	least := math.Inf(1)
	for i := range arc1.n {
		v := arc1.back(n, c.Dir1, i)
		c1 := n.Sub(v).Dot(c.Point1)
		for j := range arc2.n {
			w := arc2.back(v, c.Dir2, j)
			least = min(least, c1+v.Sub(w).Dot(c.Point2)-moves.SupportDistance(w.Scale(-1)))
		}
	}
	return least - rests.SupportDistance(n)
}

// worst tells at which of the four corners of two arcs the gap of a pair along n is least; of equals the first.
func (p *Prover) worst(q *pair, n point, arc1, arc2 *arc) (at corner) {
	c, moves := &p.chain, &p.bodies[q.b].shape
	least := math.Inf(1)
	for i := range min(arc1.n, 2) {
		v := arc1.back(n, c.Dir1, i)
		for j := range min(arc2.n, 2) {
			w := arc2.back(v, c.Dir2, j)
			if apart := n.Sub(v).Dot(c.Point1) + v.Sub(w).Dot(c.Point2) - moves.SupportDistance(w.Scale(-1)); apart < least {
				least, at = apart, corner{arc1.end(i), arc2.end(j)}
			}
		}
	}
	return at
}

// end is which end of an arc its i-th turn is: -1 the lower, 1 the higher; 0 where it turns nothing.
func (a *arc) end(i int) int8 {
	if a.n == 1 {
		return 0
	}
	return int8(2*i - 1)
}

// offAxis returns the distance of a point from axis 1.
func (p *Prover) offAxis1(x point) float64 { return x.Sub(p.chain.Point1).Cross(p.chain.Dir1).Norm() }

// farther returns how far the edges of a cell lie from a pose at most, per axis.
func farther(cell rect, from rig.Axes) rig.Axes {
	return rig.Axes{
		A1: max(cell.high.A1-from.A1, from.A1-cell.low.A1, 0),
		A2: max(cell.high.A2-from.A2, from.A2-cell.low.A2, 0),
	}
}
