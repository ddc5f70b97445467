package solid_test

import (
	"fmt"
	"testing"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
)

// sample makes pairs of two kinds as a rig has them: parts of some 300 mm, up to 2 m apart, not touching.
func sample(i, j solid.Kind) (a, b [64]solid.Shape) {
	r := newMaker(1, uint64(10*i+j))
	for n := 0; n < len(a); {
		x, y := r.random(i, r.at(1000), 300), r.random(j, r.at(1000), 300)
		if solid.Distance(x, y).Lower > 1 {
			a[n], b[n] = x, y
			n++
		}
	}
	return a, b
}

func BenchmarkDistance(b *testing.B) {
	for n, i := range kinds {
		for _, j := range kinds[n:] {
			b.Run(fmt.Sprintf("%s-%s", i, j), func(b *testing.B) {
				x, y := sample(i, j)
				b.ReportAllocs()
				for n := 0; b.Loop(); n++ {
					solid.Distance(x[n&63], y[n&63])
				}
			})
		}
	}
}

// Most questions: is a margin of 20 mm kept?
func BenchmarkAtLeast(b *testing.B) {
	for n, i := range kinds {
		for _, j := range kinds[n:] {
			b.Run(fmt.Sprintf("%s-%s", i, j), func(b *testing.B) {
				x, y := sample(i, j)
				b.ReportAllocs()
				for n := 0; b.Loop(); n++ {
					solid.AtLeast(x[n&63], y[n&63], 20)
				}
			})
		}
	}
}

func BenchmarkOverlap(b *testing.B) {
	for _, i := range kinds {
		b.Run(fmt.Sprintf("%s-%s", i, i), func(b *testing.B) {
			r := newMaker(2, uint64(i))
			x, y := r.random(i, r.at(10), 300), r.random(i, r.at(10), 300)
			b.ReportAllocs()
			for b.Loop() {
				solid.Distance(x, y)
			}
		})
	}
}

func BenchmarkAlong(b *testing.B) {
	x, y := sample(solid.CylinderKind, solid.BoxKind)
	way := solid.Distance(x[0], y[0]).Way
	for b.Loop() {
		solid.Along(x[0], y[0], way)
	}
}

func BenchmarkPlace(b *testing.B) {
	for _, i := range kinds {
		b.Run(i.String(), func(b *testing.B) {
			r := newMaker(2, uint64(i))
			from, m := r.random(i, r.at(10), 300), frame.Motion[frame.Rig]{R: r.turn(), T: r.at(100)}
			var to solid.Shape
			b.ReportAllocs()
			for b.Loop() {
				solid.Place(&to, &from, &m)
			}
		})
	}
}

func BenchmarkReach(b *testing.B) {
	for _, i := range kinds {
		b.Run(i.String(), func(b *testing.B) {
			r := newMaker(2, uint64(i))
			s, p, u := r.random(i, r.at(10), 300), r.at(1000), r.dir()
			for b.Loop() {
				s.Reach(p, u)
			}
		})
	}
}

// Distance, AtLeast and Place allocate nothing.
func TestNothingIsAllocated(t *testing.T) {
	for _, i := range kinds {
		x, y := sample(i, solid.CylinderKind)
		n := testing.AllocsPerRun(64, func() {
			solid.Distance(x[3], y[5])
			solid.Distance(x[3], x[3]) // overlapping
			solid.AtLeast(x[3], y[5], 1e6)
		})
		if n != 0 {
			t.Errorf("%s: %v allocations, want none", i, n)
		}
	}
}
