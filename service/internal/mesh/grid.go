package mesh

import "math"

// A polytope is grown on whole numbers, where it is told without rounding on which side of a plane a point lies: points in one plane,
// on one line or in one place then cannot tear its surface. What the rounding to whole numbers costs is measured afterwards, by
// another way: see wrap.go.

// Sizes of the whole numbers.
const (
	// gridSteps is the number of steps along the longest side: of a piece of 2 m each is 4 µm.
	gridSteps = 1<<19 - 1
	// apexSteps is how far off the points of help stand that make flat sets solid. With it every difference of two points is
	// below 2^20, a component of a normal below 2^41, and a height below 6·2^60 < 2^63.
	apexSteps = 1 << 18
	// thinSteps is the thickness up to which a set counts as flat: between faces almost parallel, a point far to the side would
	// hardly stand out. Choice: a few times the rounding to steps; 15 µm of a plate of 1 m.
	thinSteps = 8
)

// whole is a point or direction in grid steps.
type whole [3]int64

func (a whole) sub(b whole) whole { return whole{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a whole) dot(b whole) int64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func (a whole) cross(b whole) whole {
	return whole{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// norm is rounded: it only orders.
func (a whole) norm() float64 {
	x, y, z := float64(a[0]), float64(a[1]), float64(a[2])
	return math.Sqrt(x*x + y*y + z*z)
}

// grid returns the points in steps, and the length of one.
func grid(points []Corner) (out [][3]int32, step float64) {
	low, high := points[0], points[0]
	for _, p := range points {
		low = Corner{X: min(low.X, p.X), Y: min(low.Y, p.Y), Z: min(low.Z, p.Z)}
		high = Corner{X: max(high.X, p.X), Y: max(high.Y, p.Y), Z: max(high.Z, p.Z)}
	}
	d := high.Sub(low)
	step = max(d.X, d.Y, d.Z) / gridSteps
	out = make([][3]int32, len(points), len(points)+3) // room for points of help
	if step == 0 {
		return out, 0
	}
	steps := func(v float64) int32 { return int32(min(max(math.Round(v/step), 0), gridSteps)) }
	for i, p := range points {
		d := p.Sub(low)
		out[i] = [3]int32{steps(d.X), steps(d.Y), steps(d.Z)}
	}
	return out, step
}
