package inspect

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A file of a hundred parts of fifty shapes has millions of pairs: each cell costs so much more, and there are so many fewer.
func TestManyPairsGetFewerCells(t *testing.T) {
	assert.Equal(t, Budget, within(Budget, 0))
	assert.Equal(t, Budget, within(Budget, 200))
	assert.EqualValues(t, 50, within(Budget, 2_000_000))
}
