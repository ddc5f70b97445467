package pointing

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

type vec = frame.Vec[frame.Rig]

// down is where things fall.
var down = vec{Z: -1}

// View is the model at one pose.
type View struct {
	// Sight is where the tube is expected to look: as seen, rig frame.
	Sight vec
	// Scatter is the covariance of that, across and along, radians squared: of the terms alone.
	Scatter Cov2
	across  vec
	along   vec
	slopes  [2][Terms]float64
}

// Cov2 is a covariance across and along: [0][0], [0][1], [1][1].
type Cov2 [3]float64

// Plus adds a covariance.
func (c Cov2) Plus(o Cov2) Cov2 { return Cov2{c[0] + o[0], c[1] + o[1], c[2] + o[2]} }

// Less takes away a part that it was made of.
func (c Cov2) Less(o Cov2) Cov2 { return Cov2{c[0] - o[0], c[1] - o[1], c[2] - o[2]} }

// D2 is the squared Mahalanobis distance of an offset; infinite where the covariance is none.
// Checked against E12 of the project's published values: (2, -1) under [[4,2],[2,3]] is 3.
func (c Cov2) D2(o [2]float64) float64 {
	det := c[0]*c[2] - c[1]*c[1]
	if !(det > 0) {
		return math.Inf(1)
	}
	return (c[2]*o[0]*o[0] - 2*c[1]*o[0]*o[1] + c[0]*o[1]*o[1]) / det
}

// Within bounds a covariance so that no direction has a standard deviation above most: its principal ones that have are cut to that, the
// others stay.
func (c Cov2) Within(most unit.Angle) Cov2 {
	mean, half := (c[0]+c[2])/2, math.Hypot((c[0]-c[2])/2, c[1])
	wide, narrow := min(mean+half, sq(most)), min(mean-half, sq(most))
	if half == 0 {
		return Cov2{wide, 0, wide}
	}
	k := (wide - narrow) / (2 * half)
	return Cov2{(wide+narrow)/2 + k*(c[0]-c[2])/2, k * c[1], (wide+narrow)/2 - k*(c[0]-c[2])/2}
}

// Mount is the kinematics that a model bends.
type Mount struct {
	Kind  rig.Kind
	Chain *rig.Chain
}

// MountOf is what of a rig the model goes by.
func MountOf(r *rig.Rig) Mount { return Mount{Kind: r.Kind, Chain: &r.Chain} }

// Lean is what the model makes of a pose in axis terms: where the tube is expected to look less where it would, were the mount perfect.
func (f *Fit) Lean(m Mount, pose rig.Axes) rig.Axes {
	return rig.LiftNear(m.Chain.Solve(m.Kind, f.sight(m, pose), m.Kind.SideOf(pose)), pose).Sub(pose)
}

// At returns where the tube is expected to look at a pose.
func (f *Fit) At(m Mount, pose rig.Axes) View {
	v := View{Sight: f.sight(m, pose)}
	v.resolve(m, pose)
	v.Scatter = v.spread(f)
	return v
}

// sight turns the perfect tube by every term, innermost first: cone, index and axis 2, the missing right angle, index and axis 1, the
// lean of axis 1, then what sinks.
func (f *Fit) sight(m Mount, pose rig.Axes) vec {
	c, t := m.Chain, &f.Terms
	s := frame.About(c.Tube.Cross(c.Dir2), t[Cone]).Apply(c.Tube)
	s = frame.About(c.Dir2, pose.A2+t[Index2]).Apply(s)
	s = frame.About(c.Dir1.Cross(c.Dir2), t[Square]).Apply(s)
	s = frame.About(c.Dir1, pose.A1+t[Index1]).Apply(s)
	a, b := leans(c)
	lean := a.Scale(float64(t[TiltA])).Add(b.Scale(float64(t[TiltB])))
	if angle := lean.Norm(); angle > 0 {
		s = frame.About(lean.Unit(), unit.Angle(angle)).Apply(s)
	}
	carried := frame.About(c.Dir1, pose.A1).Apply(c.Dir2)
	sunk := sag(m, carried).Cross(s).Scale(float64(t[Shaft])).Add(across(down, s).Scale(float64(t[Tube])))
	return s.Add(sunk).Unit()
}

// leans are the two directions about which axis 1 may lean: east, made square to axis 1, and the one square to both.
func leans(c *rig.Chain) (a, b vec) {
	a = across(vec{X: 1}, c.Dir1).Unit()
	return a, c.Dir1.Cross(a)
}

// across is the part of a at right angles to a unit vector.
func across(a, to vec) vec { return a.Sub(to.Scale(a.Dot(to))) }

// sag is the turn that a load gives what carries it, for a unit of flexure: a German's shaft turns about what lies square to it and level; a
// fork's arms turn about axis 2 with the pull square to axis 1. An alt-azimuth's stand upright.
func sag(m Mount, axis2 vec) vec {
	switch m.Kind {
	case rig.German:
		return axis2.Cross(down)
	case rig.Fork:
		return axis2.Scale(down.Dot(m.Chain.Dir1.Cross(axis2)))
	case rig.AltAzimuth:
	}
	return vec{}
}

// resolve works out what a little of each term does to the sight, across and along.
func (v *View) resolve(m Mount, pose rig.Axes) {
	c, s := m.Chain, v.Sight
	axis2 := frame.About(c.Dir1, pose.A1).Apply(c.Dir2)
	v.across = across(axis2, s).Unit()
	v.along = v.across.Cross(s)
	a, b := leans(c)
	turn := func(t Term, about vec) {
		d := about.Cross(s)
		v.slopes[0][t], v.slopes[1][t] = d.Dot(v.across), d.Dot(v.along)
	}
	turn(Index1, c.Dir1)
	turn(Index2, axis2)
	turn(Cone, s.Cross(axis2))
	turn(Square, c.Dir1.Cross(axis2))
	turn(TiltA, a)
	turn(TiltB, b)
	turn(Shaft, sag(m, axis2))
	v.slopes[0][Tube], v.slopes[1][Tube] = down.Dot(v.across), down.Dot(v.along)
}

func (v *View) spread(f *Fit) Cov2 {
	var out Cov2
	for i := range Terms {
		for j := range Terms {
			p := f.cov(i, j)
			out[0] += v.slopes[0][i] * p * v.slopes[0][j]
			out[1] += v.slopes[0][i] * p * v.slopes[1][j]
			out[2] += v.slopes[1][i] * p * v.slopes[1][j]
		}
	}
	return out
}

// Apart is the covariance of what two solves differ by, as far as the terms leave it open.
func (f *Fit) Apart(a, b *View) Cov2 {
	d := View{}
	for t := range Terms {
		d.slopes[0][t], d.slopes[1][t] = b.slopes[0][t]-a.slopes[0][t], b.slopes[1][t]-a.slopes[1][t]
	}
	return d.spread(f)
}

// Between is the same with what the terms leave out at both.
func (f *Fit) Between(a, b *View) Cov2 { return f.Apart(a, b).Plus(Misfit()).Plus(Misfit()) }

// Off is where a direction lies from the expected one, across and along: an angle, in the direction in which the great circle leaves.
func (v *View) Off(seen vec) [2]float64 {
	flat := across(seen, v.Sight)
	n := flat.Norm()
	switch {
	case n == 0 && seen.Dot(v.Sight) < 0: // opposite: as far as can be, and no way is nearer
		return [2]float64{math.Pi, 0}
	case n == 0:
		return [2]float64{}
	}
	k := float64(v.Sight.Angle(seen)) / n
	return [2]float64{k * flat.Dot(v.across), k * flat.Dot(v.along)}
}

// Axes is the covariance, across and along, of a pose that is known to sigma on each axis: a turn of axis 1 does what its index does, one of axis 2
// is all along.
func (v *View) Axes(sigma rig.Axes) Cov2 {
	one, two := sq(sigma.A1), sq(sigma.A2)
	across, along := v.slopes[0][Index1], v.slopes[1][Index1]
	return Cov2{one * across * across, one * across * along, one*along*along + two}
}

// Misfit is the covariance of what the terms leave out.
func Misfit() Cov2 { return Cov2{sq(misfit), 0, sq(misfit)} }
