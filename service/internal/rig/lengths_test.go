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
		{"tape.floor_to_crossing_mm", 1300, 4}, {"tape.tripod.hub_top_mm", 1150, 2},
		{"tape.walls.1.from_mm.1", -1500, 2}, {"tape.walls.1.from_mm.2", 1200, 2}, {"tape.walls.1.height_mm", 1100, 2},
		{"parts.1.shapes.1.cylinder.from_mm.1", 1, 2}, {"parts.1.shapes.1.cylinder.from_mm.2", 2, 2}, {"parts.1.shapes.1.cylinder.from_mm.3", 3, 2},
		{"parts.1.shapes.1.cylinder.diameter_mm", 80, 2},
	}, Lengths("x.yaml", []byte(file)))
	for _, l := range Lengths("x.yaml", []byte(file)) { // each is one that can be changed
		_, err := Change{Key: l.Key, By: true, Value: 1}.In("x.yaml", []byte(file))
		require.NoError(t, err)
	}
	assert.Nil(t, Lengths("x.yaml", []byte("tape: [")))
	assert.Empty(t, Lengths("x.yaml", []byte("tape: 3")))
}
