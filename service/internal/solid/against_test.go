package solid_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/solid"
)

// Solids that overlap by more than is asked are not looked at any closer than that: how deep they are in each other is most of the work of a
// question of when they touch.
func TestOverlapIsNotFathomedBeyondTheGoal(t *testing.T) {
	a, err := solid.Cylinder(solid.Point{}, solid.Point{Z: 800}, 60)
	require.NoError(t, err)
	b, err := solid.Cylinder(solid.Point{X: 30, Y: -300, Z: 500}, solid.Point{X: 20, Y: 300, Z: 640}, 80)
	require.NoError(t, err)
	whole := solid.Distance(a, b)
	require.Less(t, whole.Upper, -50.0)
	require.InDelta(t, whole.Lower, whole.Upper, 1e-3, "how deep it is when asked for")

	g := solid.Against(&a, &b, 0, 10)
	assert.Less(t, g.Upper, 0.0)
	assert.Greater(t, g.Upper, whole.Upper+1, "it went on to the end")
	assert.LessOrEqual(t, g.Lower, whole.Upper)
	deep := solid.Against(&a, &b, -40, 10)
	assert.Less(t, deep.Upper, -40.0, "as deep as is asked")
}
