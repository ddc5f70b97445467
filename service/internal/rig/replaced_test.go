package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// TestPartsOfTheFormThatAreReplacedAreFound: a guide scope called tube takes the tube away, which is told first; what holds the form's part is only to be
// known, and what leaves it out on purpose or has a name of its own says nothing. Heron's tube is 120 across and reaches from -380 to 300, its counterweights
// 110 across from -250 to -400, its hub 140 across from 1060 to 1150 high.
func TestPartsOfTheFormThatAreReplacedAreFound(t *testing.T) {
	const tube = "{from_mm: [205, -400, 0], to_mm: [205, 310, 0], diameter_mm: 122}"
	for _, c := range []struct {
		name, part  string // name, fixed_to and shapes
		finds, info int
		says        string
	}{
		{"a thin one beside it", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [300, -160, 0], to_mm: [300, 200, 0], diameter_mm: 70}}]", 1, 0,
			"it replaces the form's own tube, which is cylinder 120 across, 680 long, by cylinder 70 across, 360 long (mm); no answer keeps clear of what the form's alone takes up; give it another name if it is there beside that; if it is the same thing measured better, leave it"},
		{"as wide and shorter before", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -400, 0], to_mm: [205, 298, 0], diameter_mm: 122}}]", 1, 0, "no answer keeps clear"},
		{"as wide and shorter behind", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -378, 0], to_mm: [205, 310, 0], diameter_mm: 122}}]", 1, 0, "no answer keeps clear"},
		{"as long and thinner", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -400, 0], to_mm: [205, 310, 0], diameter_mm: 116}}]", 1, 0, "no answer keeps clear"},
		{"as large and aside", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [208, -400, 0], to_mm: [208, 310, 0], diameter_mm: 122}}]", 1, 0, "no answer keeps clear"},
		{"two with a gap between", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -400, 0], to_mm: [205, -100, 0], diameter_mm: 122}}, {cylinder: {from_mm: [205, 100, 0], to_mm: [205, 310, 0], diameter_mm: 122}}]", 1, 0, "no answer keeps clear"},
		{"larger", "name: tube, fixed_to: axis 2, shapes: [{cylinder: " + tube + "}]", 1, 1, "680 long, by cylinder 122 across, 710 long (mm); give it another name if it is there beside that"},
		{"as read, within what a tape is read to", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -380, 0], to_mm: [205, 300, 0], diameter_mm: 119}}]", 1, 1, ""},
		{"two that together hold it", "name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -400, 0], to_mm: [205, 0, 0], diameter_mm: 122}}, {cylinder: {from_mm: [205, 0, 0], to_mm: [205, 310, 0], diameter_mm: 122}}]", 1, 1, ""},
		{"there in one state alone", "name: tube, fixed_to: axis 2, states: [{name: on, shapes: [{cylinder: " + tube + "}]}, {name: off, shapes: [{ball: {centre_mm: [205, 0, 0], diameter_mm: 122}}]}]", 1, 0, "2 states: on, off (mm); no answer"},
		{"elsewhere", "name: counterweights, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [-240, 0, 0], to_mm: [-410, 0, 0], diameter_mm: 120}}]", 1, 0, "150 long, by cylinder 120 across, 170 long (mm), on axis 2 instead of axis 1; no answer"},
		{"the hub", "name: hub, fixed_to: ground, shapes: [{cylinder: {from_mm: [0, -125, 1055], to_mm: [0, -125, 1155], diameter_mm: 144}}]", 1, 1, ""},
		{"a leg, thinner", "name: north leg, fixed_to: ground, shapes: [{capsule: {from_mm: [0, -55, 1060], to_mm: [0, 395, -10], diameter_mm: 40}}]", 1, 0, "by rod 40 across"},
		{"a leg as a box", "name: north leg, fixed_to: ground, shapes: [{hull: {points_mm: [[-30, -125, 1100], [30, -125, 1100], [-30, 0, 1100], [30, 0, 1100], [-30, 300, -60], [30, 300, -60], [-30, 500, -60], [30, 500, -60]]}}]", 1, 1, ""},
		{"a name of its own", "name: tube 2, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [300, -160, 0], to_mm: [300, 200, 0], diameter_mm: 70}}]", 0, 0, ""},
	} {
		all := found(t, "heron.yaml", rig.Replaced, change{"has_no:", "parts: [{" + c.part + "}]\nhas_no:"})
		require.Len(t, all, c.finds, "%s: %s", c.name, lines(all))
		for _, f := range all {
			assert.Equal(t, c.info == 1, f.Info, "%s: %s", c.name, f)
			assert.Equal(t, "parts.1", f.Key)
			assert.Positive(t, f.Line)
			assert.Contains(t, f.String(), c.says, c.name)
		}
	}
	assert.Empty(t, found(t, "heron.yaml", rig.Replaced, change{"has_no:", "leave_out: [tube]\nparts: [{name: tube, fixed_to: axis 2, shapes: [{ball: {centre_mm: [205, 0, 0], diameter_mm: 70}}]}]\nhas_no:"}),
		"left out on purpose")
	wedge := found(t, "wren.yaml", rig.Replaced, change{"has_no:", "parts: [{name: wedge, fixed_to: ground, shapes: [{box: {centre_mm: [0, 0, 900], size_mm: [30, 30, 30]}}]}]\nhas_no:"})
	require.Len(t, wedge, 1)
	assert.False(t, wedge[0].Info, "a hull is looked at by its corners")
	twice := found(t, "heron.yaml", rig.Replaced, change{"has_no:", "parts: [{name: tube, fixed_to: axis 2, shapes: [{cylinder: " + tube + "}]}, {name: tube, fixed_to: axis 2, shapes: [{cylinder: " + tube + "}]}]\nhas_no:"})
	assert.Len(t, twice, 1, "the second takes the place of none of the form's")
}
