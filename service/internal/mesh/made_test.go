package mesh_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"keepclear.example/keepclear/service/internal/mesh"
)

func at(x, y, z float64) mesh.Corner { return mesh.Corner{X: x, Y: y, Z: z} }

type facet = [3]mesh.Corner

// box is the twelve facets of a box, facing outward, with its least corner at a place.
func box(low mesh.Corner, x, y, z float64) (out []facet) {
	v := func(i int) mesh.Corner {
		return low.Add(at(x*float64(i&1), y*float64(i>>1&1), z*float64(i>>2&1)))
	}
	for _, f := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		out = append(out, facet{v(f[0]), v(f[1]), v(f[2])}, facet{v(f[0]), v(f[2]), v(f[3])})
	}
	return out
}

// turned is a surface of revolution about z: rings of a radius at a height, joined in their order, with caps where the first or the
// last has a radius.
func turned(sides int, rings ...[2]float64) (out []facet) {
	v := func(ring, i int) mesh.Corner {
		s, c := math.Sincos(2 * math.Pi * float64(i%sides) / float64(sides))
		return at(rings[ring][0]*c, rings[ring][0]*s, rings[ring][1])
	}
	last := len(rings) - 1
	for i := range sides {
		for k := range last {
			out = append(out, facet{v(k, i), v(k, i+1), v(k+1, i+1)}, facet{v(k, i), v(k+1, i+1), v(k+1, i)})
		}
		out = append(out, facet{at(0, 0, rings[0][1]), v(0, i+1), v(0, i)}, facet{at(0, 0, rings[last][1]), v(last, i), v(last, i+1)})
	}
	return out
}

// tube is a hollow tube, closed at neither end: a wall between two radii.
func tube(sides int, inner, outer, long float64) (out []facet) {
	rings := [][2]float64{{outer, 0}, {outer, long}, {inner, long}, {inner, 0}, {outer, 0}}
	for _, f := range turned(sides, rings...) {
		if f[0].X != 0 || f[0].Y != 0 { // without caps
			out = append(out, f)
		}
	}
	return out
}

// ball is a ball of latitudes and longitudes.
func ball(n int, radius float64) []facet {
	var rings [][2]float64
	for i := 1; i < n; i++ {
		s, c := math.Sincos(math.Pi * float64(i) / float64(n))
		rings = append(rings, [2]float64{radius * s, -radius * c})
	}
	return turned(2*n, rings...)
}

func moved(fs []facet, by mesh.Corner) (out []facet) {
	for _, f := range fs {
		out = append(out, facet{f[0].Add(by), f[1].Add(by), f[2].Add(by)})
	}
	return out
}

func reversed(fs []facet) (out []facet) {
	for _, f := range fs {
		out = append(out, facet{f[0], f[2], f[1]})
	}
	return out
}

// cloud makes facets of points, each with the next two: one piece, whatever it looks like.
func cloud(points []mesh.Corner) (out []facet) {
	for i := range len(points) - 2 {
		out = append(out, facet(points[i:i+3]))
	}
	return out
}

func binarySTL(header string, facets []facet) []byte {
	b := append(make([]byte, 0, 84+50*len(facets)), header+strings.Repeat("\x00", 80-len(header))...)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(facets)))
	for _, f := range facets {
		b = append(b, make([]byte, 12)...)
		for _, c := range f {
			for _, v := range [3]float64{c.X, c.Y, c.Z} {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
			}
		}
		b = append(b, 0, 0)
	}
	return b
}

func textSTL(facets []facet) []byte {
	var b bytes.Buffer
	b.WriteString("solid a name of some words\n")
	for _, f := range facets {
		b.WriteString("  facet normal nan 0 1\n    outer loop\n")
		for _, c := range f {
			fmt.Fprintf(&b, "      vertex %.17g %.17g %.17g\n", c.X, c.Y, c.Z)
		}
		b.WriteString("    endloop\n  endfacet\n")
	}
	b.WriteString("endsolid a name of some words\n")
	return b.Bytes()
}

type maker struct{ *rand.Rand }

func newMaker(a, b uint64) maker { return maker{rand.New(rand.NewPCG(a, b))} }

func (r maker) dir() mesh.Corner {
	return at(r.NormFloat64(), r.NormFloat64(), r.NormFloat64()).Unit()
}

// points draws a cloud: kinds are the known troubles of hulls.
func (r maker) points(kind, n int) []mesh.Corner {
	out := make([]mesh.Corner, n)
	for i := range out {
		switch kind {
		case 0: // a full ball
			out[i] = r.dir().Scale(300 * math.Cbrt(r.Float64()))
		case 1: // on a ball
			out[i] = r.dir().Scale(200)
		case 2: // whole coordinates: many in one plane, on one line, twice
			out[i] = at(float64(r.IntN(5)), float64(r.IntN(5)), float64(r.IntN(5))).Scale(50)
		case 3: // the rims of a cylinder
			s, c := math.Sincos(2 * math.Pi * float64(r.IntN(90)) / 90)
			out[i] = at(100*c, 100*s, 400*float64(r.IntN(2)))
		case 4: // in a plane askew
			out[i] = at(1, 2, 3).Scale(100 * r.Float64()).Add(at(3, -1, 1).Scale(100 * r.Float64()))
		case 5: // on a line askew
			out[i] = at(1, 2, 3).Scale(100 * r.Float64())
		case 6: // in one place
			out[i] = at(1, 2, 3)
		case 7: // a plate a hair thick
			out[i] = at(300*r.Float64(), 300*r.Float64(), 1e-6*r.Float64())
		case 8: // almost on a line
			out[i] = at(1, 2, 3).Scale(100 * r.Float64()).Add(r.dir().Scale(1e-9))
		case 9: // sizes from a hair to a room
			out[i] = r.dir().Scale(1e-3 * math.Pow(1e7, r.Float64()))
		case 10: // far from the origin
			out[i] = at(9e5, -9e5, 9e5).Add(r.dir().Scale(100))
		}
	}
	return out
}

const cloudKinds = 11
