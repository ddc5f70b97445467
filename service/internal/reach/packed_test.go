package reach_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

func lot(seed uint64) func(int) int { return rand.New(rand.NewPCG(seed, 7)).IntN }

// TestPackedRasterIsTheSame after it was packed and read back, and agrees with a map of the same scene.
func TestPackedRasterIsTheSame(t *testing.T) {
	p := reach.New(walls(rig.DegAxes(30, 30)))
	raster := p.NewMap().Raster(reach.RasterBudget, always)
	b := raster.Pack()
	back, err := p.NewMap().Unpack(b)
	require.NoError(t, err)
	assert.Equal(t, b, back.Pack())
	assert.Equal(t, raster.Work, back.Work)
	for a1 := -180.0; a1 < 180; a1 += 7.3 {
		for a2 := -180.0; a2 < 180; a2 += 7.3 {
			require.Equal(t, raster.At(rig.DegAxes(a1, a2)), back.At(rig.DegAxes(a1, a2)))
		}
	}
	assert.True(t, back.Agrees(64, lot(1)))
	w1, w2, ok := raster.Widest(rig.DegAxes(0, 0), rig.Axes{})
	b1, b2, back2 := back.Widest(rig.DegAxes(0, 0), rig.Axes{})
	assert.Equal(t, []any{w1, w2, ok}, []any{b1, b2, back2})
	assert.Equal(t, raster.Binds(w1, w2, 0, 1, rig.Axes{}), back.Binds(b1, b2, 0, 1, rig.Axes{}))
	assert.Nil(t, p.NewMap().Raster(50, always).Pack(), "half a map is not kept")
}

// TestRasterOfAnotherSceneDoesNotAgree: a wall that stands a degree farther off, a gap that is 2 mm wider.
func TestRasterOfAnotherSceneDoesNotAgree(t *testing.T) {
	p := reach.New(walls(rig.DegAxes(30, 30)))
	b := p.NewMap().Raster(reach.RasterBudget, always).Pack()
	for seed := range uint64(20) {
		other, err := reach.New(walls(rig.DegAxes(31, 30))).NewMap().Unpack(b)
		require.NoError(t, err)
		assert.False(t, other.Agrees(64, lot(seed)))
	}
}

func TestWhatIsNoRasterIsNotRead(t *testing.T) {
	m := reach.New(walls(rig.DegAxes(30, 30))).NewMap()
	good := m.Raster(reach.RasterBudget, always).Pack()
	_, err := m.Unpack(good)
	require.NoError(t, err)
	for n := 0; n < len(good); n += 1 + len(good)/60 { // cut anywhere
		_, err := m.Unpack(good[:n])
		require.ErrorIs(t, err, reach.ErrPacked, "%d of %d", n, len(good))
	}
	for name, spoil := range map[string]func([]byte) []byte{
		"another version":  func(b []byte) []byte { b[0]++; return b },
		"more cells":       func(b []byte) []byte { return append(b, 1, 1) },
		"an empty run":     func(b []byte) []byte { return append(b, 1, 0) },
		"no such standing": func(b []byte) []byte { return append(b[:4], 9, 1) },
		"a run without end": func(b []byte) []byte {
			return append(b[:4], 1, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff)
		},
		"a work without end": func(b []byte) []byte {
			return append([]byte{b[0], 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f}, b[3:]...)
		},
	} {
		_, err := m.Unpack(spoil(slices.Clone(good)))
		assert.ErrorIs(t, err, reach.ErrPacked, name)
	}
}
