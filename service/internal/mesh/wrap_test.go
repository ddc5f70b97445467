package mesh_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/mesh"
)

func TestPiecesAreWrappedApart(t *testing.T) {
	small, large := box(at(-300, 0, 0), 10, 20, 30), box(at(0, 0, 0), 100, 100, 100)
	inside := box(at(40, 40, 40), 5, 5, 5)
	facets := append(append(append([]facet{}, small...), large...), inside...)
	w := wrapped(t, facets, 1, false)
	require.Len(t, w.Pieces, 2, "the order is that of the file")
	assert.Equal(t, 1, w.Within)
	assert.InDelta(t, 6000, w.Pieces[0].Volume, 1e-9)
	assert.InDelta(t, 1e6, w.Pieces[1].Volume, 1e-6)
	for _, p := range w.Pieces {
		assert.Equal(t, []int{12, 8}, []int{p.Facets, p.Corners})
	}
	w = wrapped(t, facets, 1, true)
	require.Len(t, w.Pieces, 1)
	assert.InDelta(t, 1e6+6000+125, w.Pieces[0].Volume, 1e-6)
	assert.Greater(t, w.Pieces[0].Hull, 1.5e6)
	share, ok := w.Pieces[0].Filled()
	assert.True(t, ok)
	assert.InDelta(t, 1-(1e6+6125)/w.Pieces[0].Hull, share, 1e-4)

	poking := append(append([]facet{}, large...), box(at(96, 40, 40), 5, 5, 5)...)
	assert.Len(t, wrapped(t, poking, 1, false).Pieces, 2, "a piece that sticks out of another by 1 mm is kept")
	sharing := append(append([]facet{}, large...), box(at(100, 100, 100), 5, 5, 5)...)
	assert.Len(t, wrapped(t, sharing, 1, false).Pieces, 1, "pieces that share one corner are one")
}

// A corner that differs in its last digit is another corner.
func TestCornersAreOneOnlyIfEqual(t *testing.T) {
	off := math.Nextafter(100, 101)
	facets := append(box(at(0, 0, 0), 100, 100, 100), box(at(off, 100, 100), 5, 5, 5)...)
	assert.Len(t, wrapped(t, facets, 1, false).Pieces, 2)
	zeros := []facet{{at(0, 0, 0), at(1, 0, 0), at(0, 1, 0)}, {at(math.Copysign(0, -1), 0, 0), at(0, 0, 1), at(5, 5, 5)}}
	assert.Len(t, wrapped(t, zeros, 1, false).Pieces, 1, "-0 is 0")
}

func TestWhatIsFilledIn(t *testing.T) {
	pi := math.Pi
	const n = 256
	ring := func(r float64) float64 { return n / 2 * r * r * math.Sin(2*pi/n) } // area of a regular polygon
	p := wrapped(t, tube(n, 90, 100, 600), 1, false).Pieces[0]
	require.True(t, p.Closed)
	assert.InEpsilon(t, 600*(ring(100)-ring(90)), p.Volume, 1e-9)
	share, ok := p.Filled()
	assert.True(t, ok)
	assert.InDelta(t, 0.81, share, 0.005, "what is within 90 of 100")

	open := box(at(0, 0, 0), 10, 20, 30)[:10] // a side is missing
	p = wrapped(t, open, 1, false).Pieces[0]
	assert.False(t, p.Closed)
	_, ok = p.Filled()
	assert.False(t, ok)
	assert.Zero(t, p.Volume)
	one := box(at(0, 0, 0), 10, 20, 30)
	one[3] = reversed(one[3:4])[0]
	assert.False(t, wrapped(t, one, 1, false).Pieces[0].Closed, "one facet faces inward")

	p = wrapped(t, box(at(0, 0, 0), 10, 20, 0)[:4], 1, false).Pieces[0]
	_, ok = p.Filled()
	assert.False(t, ok, "a plate has no volume")
	assert.Zero(t, p.Hull)
}

// An open tube without thickness: its boundary cancels in sum, but not edge by edge.
func TestAnOpenTubeIsNotClosed(t *testing.T) {
	var walls []facet
	for _, f := range turned(32, [2]float64{100, 0}, [2]float64{100, 300}) {
		if f[0].X != 0 || f[0].Y != 0 {
			walls = append(walls, f)
		}
	}
	require.Len(t, walls, 64)
	assert.False(t, wrapped(t, walls, 1, false).Pieces[0].Closed)
	assert.True(t, wrapped(t, turned(32, [2]float64{100, 0}, [2]float64{100, 300}), 1, false).Pieces[0].Closed)
}

// Simplification goes outward only: with many more corners than are kept, each lies within the solid. The table of growth is in
// DEVELOPERS.md.
func TestSimplifiedHullsHoldTheMesh(t *testing.T) {
	for name, c := range map[string]struct {
		facets []facet
		most   float64
	}{
		"tube of 720 sides": {tube(720, 90, 100, 600), 0.3},
		"tube of 80 sides":  {tube(80, 90, 100, 600), 0.01},
		"ball":              {ball(60, 100), 2},
		"cone":              {turned(500, [2]float64{100, 0}, [2]float64{0.1, 300}), 0.1},
		"lens":              {turned(90, [2]float64{100, 0}, [2]float64{90, 4}, [2]float64{60, 9}, [2]float64{10, 11}), 0.5},
	} {
		p := wrapped(t, c.facets, 1, false).Pieces[0]
		t.Logf("%s: %d facets, %d of %d corners kept, grown by %.3f mm", name, p.Facets, len(p.Points), p.Corners, p.Grown)
		assert.LessOrEqual(t, p.Grown, c.most, name)
		all := corners(c.facets)
		h, worst := newSlowHull(p.Points), 0.0
		for _, c := range sampled(all, 150) {
			worst = max(worst, h.off(c))
		}
		assert.LessOrEqual(t, worst, p.Grown, name)
		if len(p.Points) == 200 {
			assert.GreaterOrEqual(t, worst, p.Grown/4, "%s: grown by no more than there is need of", name)
		}
	}
}

// sampled takes every so many of the corners.
func sampled(all []mesh.Corner, n int) (out []mesh.Corner) {
	for i := 0; i < len(all); i += 1 + len(all)/n {
		out = append(out, all[i])
	}
	return out
}

func TestTooManyPieces(t *testing.T) {
	var facets []facet
	for i := range 65 {
		facets = append(facets, box(at(float64(20*i), 0, 0), 10, 10, 10)...)
	}
	m, err := mesh.Read(binarySTL("", facets))
	require.NoError(t, err)
	_, err = m.Wrap(1, false)
	require.ErrorIs(t, err, mesh.ErrMesh)
	assert.ErrorContains(t, err, "65 pieces that share no corner, want at most 64")
	w, err := m.Wrap(1, true)
	require.NoError(t, err)
	assert.Len(t, w.Pieces, 1)
	m, err = mesh.Read(binarySTL("", facets[:64*12]))
	require.NoError(t, err)
	w, err = m.Wrap(1, false)
	require.NoError(t, err)
	assert.Len(t, w.Pieces, 64)
	m, err = mesh.Read(textSTL(box(at(2e6, 0, 0), 1, 1, 1)))
	require.NoError(t, err)
	_, err = m.Wrap(1, false)
	assert.ErrorContains(t, err, "a corner 2e+06 mm from its origin, want at most 1e+06")
}
