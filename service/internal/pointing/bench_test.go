package pointing

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"keepclear.example/keepclear/service/internal/rig"
)

// BenchmarkFit holds one update, and what one direction takes, against the direct fit of 500 solves by gonum (its QR alone, equations ready).
func BenchmarkFit(b *testing.B) {
	g := rand.New(rand.NewPCG(1, 1))
	mount := mounts()[0]
	f := truth(g, 0.5)
	all := nightOf(g, mount, &f, 500, float64(misfit)/2)
	m := New(mount, rig.Axes{})
	for _, o := range all {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	b.Run("one more solve", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			o := &all[i%len(all)]
			m.Learnt(mount, o.pose, o.sigma, o.seen)
		}
	})
	b.Run("where it looks", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			m.At(mount, all[i%len(all)].pose)
		}
	})
	rows, seen := equations(mount, all)
	b.Run("500 solves at once by gonum", func(b *testing.B) {
		x := mat.NewVecDense(int(Terms), nil)
		for b.Loop() {
			if err := x.SolveVec(rows, seen); err != nil {
				b.Fatal(err)
			}
		}
	})
}
