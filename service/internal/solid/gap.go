package solid

import "math"

// Gap is what is known of the signed separation of two solids, mm: the distance where they are apart, minus the penetration
// depth where they overlap.
//
// Invariant: Lower ≤ the true separation ≤ Upper, and neither is NaN.
type Gap struct {
	Lower, Upper float64
	A, B         Point // where the solids are nearest: a point of each; of overlapping solids, points near the shortest way out
	Way          Point // the unit vector, from B to A, along which they are proven Lower apart; zero where nothing is proven
}

// unknown is the gap about which nothing is proven.
func unknown() Gap { return Gap{Lower: math.Inf(-1), Upper: math.Inf(1)} }

// Distance bounds the signed separation of two solids. It allocates nothing. Where either is the zero Shape, or was moved to
// no finite place, nothing is proven: Lower is -Inf and Upper +Inf.
func Distance(a, b Shape) Gap { return distance(&a, &b, closely()) }

// Against is Distance, stopped as soon as the separation is known to be at least enough, or less than too little, mm: the bounds hold and
// may lie far apart. Where it is between the two they are those of Distance.
func Against(a, b *Shape, tooLittle, enough float64) Gap {
	return distance(a, b, goal{tooLittle, enough})
}

// AtLeast tells whether the separation is proven to be at least want, mm. It is Distance, stopped as soon as the answer is
// settled; false where nothing is proven.
func AtLeast(a, b Shape, want float64) bool { return atLeast(&a, &b, want) }

// Along returns a lower bound, mm, of the signed separation of two solids: how far they are apart along way, the unit vector
// from b to a. It costs a fraction of Distance, and where solids have moved but little, the Way of the last Gap is still a
// good one. -Inf where nothing is proven.
func Along(a, b Shape, way Point) float64 {
	if a.kind == NoKind || b.kind == NoKind {
		return math.Inf(-1)
	}
	p := newPair(&a, &b)
	n := way.Norm()
	_, low := p.look(way.Scale(1 / n))
	if low -= p.grown + p.allowance; math.IsNaN(low) {
		return math.Inf(-1)
	}
	return low
}

func atLeast(a, b *Shape, want float64) bool {
	if p := newPair(a, b); p.between.Norm()-a.ball-b.ball-p.allowance >= want {
		return a.kind != NoKind && b.kind != NoKind
	}
	low := distance(a, b, goal{want, want}).Lower
	return low >= want && !math.IsInf(low, -1)
}

// goal is what is wanted of a separation: to know that it is less than the one, or at least the other.
type goal struct{ tooLittle, enough float64 }

// closely is a goal that is never reached.
func closely() goal { return goal{math.NaN(), math.NaN()} }

// distance is Distance, which may stop early once the goal is reached.
func distance(a, b *Shape, want goal) Gap {
	if a.kind == NoKind || b.kind == NoKind {
		return unknown()
	}
	p := newPair(a, b)
	var s simplex
	p.descend(&s, want)
	return p.gap(&s)
}

// gap turns what was found into an answer.
func (p *pair) gap(s *simplex) Gap {
	a, v := s.witnessA(), s.witness()
	g := Gap{Lower: p.low - p.grown - p.allowance, Upper: p.high - p.grown + p.allowance, Way: p.dir}
	if math.IsNaN(g.Lower) || math.IsNaN(g.Upper) {
		return unknown()
	}
	out := p.dir
	if p.high > touching*p.scale {
		out = v.Scale(1 / p.high) // the same to the width of the gap, and exactly between the two points
	}
	g.A = p.a.centre.Add(a).Sub(out.Scale(p.a.round()))
	g.B = p.b.centre.Add(a.Sub(v).Add(p.between)).Add(out.Scale(p.b.round()))
	return g
}
