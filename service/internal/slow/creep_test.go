package slow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestOwnGapsCountWhereThereIsOne: where parts stand apart, by half a millimetre or less even, it counts against a creep that their own gap shrinks, whatever
// their cores do; of parts that touch the outermost cores that stand apart are asked, and where it is not sure which those are nothing is said.
func TestOwnGapsCountWhereThereIsOne(t *testing.T) {
	at := func(own float64, cores ...float64) *looked {
		l := &looked{own: bounds{own, own}}
		for k := range l.cores {
			l.cores[k] = bounds{math.Inf(-1), math.Inf(1)}
			if k < len(cores) {
				l.cores[k] = bounds{cores[k], cores[k]}
			}
		}
		return l
	}
	cases := map[string]struct {
		was, is     *looked
		least, most float64
	}{
		"apart, and nearer":               {at(0.9, 20), at(0.7, 21), 0.2, 0.2},
		"hardly apart, and nearer":        {at(0.45, 20), at(0.35, 21), 0.1, 0.1},
		"perhaps touching, and nearer":    {at(0.12, 20), at(0.11, 21), -1, 0.01},
		"touching, and the cores go away": {at(0, 20), at(0, 21), -1, -1},
		"touching, and the cores do not":  {at(0, 20), at(0, 19), 1, 1},
		"deep":                            {at(0, 0, 15), at(0, 0, 14), 1, 1},
		"perhaps deep":                    {at(0, 0.1, 15), at(0, 0, 14), math.Inf(-1), math.Inf(1)},
		"too deep":                        {at(0, 0, 0, 0, 0), at(0, 0, 0, 0, 0), math.Inf(-1), math.Inf(1)},
		"no nearer than it must be":       {at(30, 50), at(29, 49), math.Inf(-1), 1},
	}
	for name, c := range cases {
		least, most := c.was.closing(c.is, 20, 1)
		if math.IsInf(c.least, 0) {
			assert.Equal(t, c.least, least, name)
		} else {
			assert.InDelta(t, c.least, least, 1e-9, name)
		}
		if math.IsInf(c.most, 0) {
			assert.Equal(t, c.most, most, name)
		} else {
			assert.InDelta(t, c.most, most, 1e-9, name)
		}
	}
}
