package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A rectangle as large as all turns of both axes, of which nothing is looked up beforehand and whose first look is a contact: its spare is a bound that
// was proven, of two parts that are named, and no number that stands for none; also where the work is over at once.
func TestSpareOfAContactIsADistance(t *testing.T) {
	r := *example(t, "bittern.yaml", "back_reach_mm: 300", "back_reach_mm: 600", "base_diameter_mm: 320", "base_diameter_mm: 150", "arm_length_mm: 350", "arm_length_mm: 465", "base_height_mm: 120", "base_height_mm: 5", "axes_deg: [0, 85]", "axes_deg: [0, 30]", "has_no:", "always_touch: [[pier, fork base]]\nhas_no:")
	r.Motion.Sharing = rig.AnyOrder
	r.Travel = rig.Travel{Low: rig.DegAxes(-540, -360), High: rig.DegAxes(540, 360)}
	shelf := reach.NewShelf()
	touched := 0
	for _, cells := range []int{1, 2, 10, 20_000} {
		for _, middle := range []unit.Angle{60 * unit.Degree, 76 * unit.Degree} {
			half := rig.DegAxes(300, 140)
			at := rig.Axes{A2: middle}
			in := standing(t, &r, at.Sub(half), rig.Axes{}, axesSlew(at.Add(half)))
			in.Proposes, in.Cells, in.Shelf = false, cells, shelf
			out := facts.Compute(in)
			f, sharp := out.Facts["clearance_spare_mm"], out.Facts["clearance_sharp_spare_mm"]
			if f.Number == nil {
				assert.NotEmpty(t, f.Missing)
				continue
			}
			if *f.Number < 0 {
				touched++
			}
			assert.Greater(t, *f.Number, -1e4, "%d cells, about %s: no rig is so large", cells, rig.Axes{A2: middle})
			assert.Len(t, f.About, 2, "%v", f)
			assert.LessOrEqual(t, *f.Number, *sharp.Number+1e-9)
		}
	}
	assert.GreaterOrEqual(t, touched, 5)
}
