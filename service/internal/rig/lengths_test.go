package rig

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLengthsOfAFile(t *testing.T) {
	const file = `
tape:
  reading_error_mm: 2
  floor_to_crossing_mm: 1300 ± 4
  tripod: {hub_top_mm: 1150, leg_azimuths_deg: [0, 120], name_mm: "120"}
  walls:
    - from_mm: [-1500, 1200]
      height_mm: 1100
parts:
  - name: guide scope
    margin_mm: 5
    reading_error_mm: 1
    shapes:
      - cylinder: {from_mm: [1, 2, 3], diameter_mm: 80, turned_deg: 4}
    states:
      - between_mm: [0, 40]
limits:
  clear/path:
    part_mm: 10
`
	assert.Equal(t, []Length{
		{Key: "tape.floor_to_crossing_mm", MM: 1300, Err: 4}, {Key: "tape.tripod.hub_top_mm", MM: 1150, Err: 2},
		{Key: "tape.walls.1.from_mm.1", MM: -1500, Err: 2}, {Key: "tape.walls.1.from_mm.2", MM: 1200, Err: 2}, {Key: "tape.walls.1.height_mm", MM: 1100, Err: 2},
		{Key: "parts.1.shapes.1.cylinder.from_mm.1", MM: 1, Err: 2}, {Key: "parts.1.shapes.1.cylinder.from_mm.2", MM: 2, Err: 2}, {Key: "parts.1.shapes.1.cylinder.from_mm.3", MM: 3, Err: 2},
		{Key: "parts.1.shapes.1.cylinder.diameter_mm", MM: 80, Err: 2},
	}, Lengths("x.yaml", []byte(file), nil))
	for _, l := range Lengths("x.yaml", []byte(file), nil) { // each is one that can be changed
		_, err := Change{Key: l.Key, By: true, Value: 1}.In("x.yaml", []byte(file))
		require.NoError(t, err)
	}
	assert.Nil(t, Lengths("x.yaml", []byte("tape: ["), nil))
	assert.Empty(t, Lengths("x.yaml", []byte("tape: 3"), nil))
}

// What a class file gives counts as the file's own does, under that file's name, unless the file says it itself.
func TestLengthsOfAClassFile(t *testing.T) {
	beside := func(string) ([]byte, error) {
		return []byte("class: c\ntape:\n  reading_error_mm: 2\n  bar_diameter_mm: 40\n  tube_diameter_mm: 99\n  pier: {diameter_mm: 220, height_mm: 900 ± 7}\nend: c\n"), nil
	}
	own := []byte("rig: x\nclass: c.yaml\ntape:\n  tube_diameter_mm: 140\n  pier: {height_mm: 950}\n")
	all := Lengths("x.yaml", own, beside)
	assert.Equal(t, []Length{
		{Key: "tape.tube_diameter_mm", MM: 140, Err: 2}, {Key: "tape.pier.height_mm", MM: 950, Err: 2},
		{Key: "tape.pier.diameter_mm", MM: 220, Err: 2, File: "c.yaml"}, {Key: "tape.bar_diameter_mm", MM: 40, Err: 2, File: "c.yaml"},
	}, all)
	assert.Equal(t, "tape.bar_diameter_mm (c.yaml)", all[3].String())
	assert.Nil(t, Lengths("x.yaml", own, nil), "a class file that is not there")
}
