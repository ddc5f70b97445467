package mesh_test

import (
	"testing"

	"keepclear.example/keepclear/service/internal/mesh"
)

// BenchmarkMillion reads and wraps a mesh of a million facets.
func BenchmarkMillion(b *testing.B) {
	for _, c := range []struct {
		name    string
		content []byte
	}{
		{"ball", binarySTL("", ball(500, 200)[:1_000_000-4])}, // 4 n² facets
		{"tube", binarySTL("", tube(125_000, 90, 100, 600))},
	} {
		b.Run(c.name+" read", func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(len(c.content)))
			for b.Loop() {
				if _, err := mesh.Read(c.content); err != nil {
					b.Fatal(err)
				}
			}
		})
		m, err := mesh.Read(c.content)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(c.name+" wrap", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Wrap(1, false); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
