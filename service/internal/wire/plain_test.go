package wire

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/unit"
)

// A turn is told as a person would write it, whatever a way through radians leaves in the last bits, and no less exactly than axes are set.
func TestPlainDegrees(t *testing.T) {
	for _, d := range []float64{3, -3, 0.1, 1.1, 7, 179.9, 0.000001, 0} {
		assert.Equal(t, d, *plainDegrees(unit.Deg(d)))
	}
	assert.InDelta(t, 1e-9, *plainDegrees(unit.Deg(1e-9)), 1e-12)
}
