package reach

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestQueueGivesTheLeastFirst in every mixture of coming and going, whole, and each as it came.
func TestQueueGivesTheLeastFirst(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for range 200 {
		var q queue
		var held []float64
		for range 60 {
			if len(held) == 0 || r.IntN(3) > 0 {
				key := float64(r.IntN(30))
				q.push(cell{key: key, low: -key})
				held = append(held, key)
				continue
			}
			slices.Sort(held)
			got := q.pop()
			assert.Equal(t, held[0], got.key)
			assert.Equal(t, -held[0], got.low, "the cell of that key")
			held = held[1:]
			assert.Len(t, q, len(held))
		}
		for i := range q { // a heap: none above a lesser one
			if i > 0 {
				assert.LessOrEqual(t, q[(i-1)/2].key, q[i].key)
			}
		}
	}
}
