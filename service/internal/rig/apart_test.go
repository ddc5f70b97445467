package rig_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// Where the axes miss each other, a fork's arms take up every place that the form leaves open: about axis 1, about axis 2, which they carry, and
// leaning from one to the other, on beyond axis 2. By hand, with tube the direction of the tube at zero and up that of axis 1's upper end: 40 mm
// apart, arms of 390 mm to axis 2 and 60 beyond lean to 40·450/390 = 46.153846 mm; 120 wide about axis 1 they reach from -60 to 106.153846, which is
// 166.153846 wide about 23.076923. On the other side of axis 1 it is the mirror image.
func TestArmsStandWhereTheyMayCarryAxis2(t *testing.T) {
	s, c := math.Sin(31.5*math.Pi/180), math.Cos(31.5*math.Pi/180)
	wren, bittern := text(t, rigs+"wren.yaml"), text(t, rigs+"bittern.yaml")
	north := strings.NewReplacer("latitude_deg: -31.5", "latitude_deg: 31.5", "crossing_north_of_hub_mm: -330", "crossing_north_of_hub_mm: 330",
		"axes_deg: [0, -89]", "axes_deg: [0, 89]", "axis2_deg: [-95, 60]", "axis2_deg: [-60, 95]").Replace(wren)
	for _, w := range []struct {
		name, in        string
		tube, up, right solid.Point // right of who looks along the upright tube
		high            float64     // of the crossing
		arm             [5]float64  // length, beyond, half the gap and half a thickness, half a thickness, width
	}{
		{"a southern fork", wren, solid.Point{Y: s, Z: c}, solid.Point{Y: -c, Z: s}, solid.Point{X: 1}, 1450, wrenArm},
		{"a northern fork", north, solid.Point{Y: -s, Z: c}, solid.Point{Y: c, Z: s}, solid.Point{X: -1}, 1450, wrenArm},
		{"an alt-azimuth", bittern, solid.Point{Y: 1}, solid.Point{Z: 1}, solid.Point{X: 1}, 1270, bitternArm},
	} {
		for _, apart := range []float64{40, -40, 0} {
			in := strings.Replace(w.in, "tape:\n", fmt.Sprintf("tape:\n  axes_apart_mm: %v ± 3\n", apart), 1)
			r, faults := rig.Parse("fork.yaml", []byte(in), nil)
			require.NotNil(t, r, "%s: %s", w.name, lines(faults))
			plain, faults := rig.Parse("fork.yaml", []byte(strings.Replace(in, " ± 3", " ± 0", 1)), nil)
			require.NotNil(t, plain, "%s: %s", w.name, lines(faults))
			length, beyond, beside, thick, wide := w.arm[0], w.arm[1], w.arm[2], w.arm[3], w.arm[4]
			lean := apart * (length + beyond) / length
			crossing := solid.Point{Z: w.high}
			near(t, crossing.Add(w.tube.Scale(apart)), r.Chain.Point2, w.name+", axis 2")
			for side, name := range map[float64]string{1: "right arm", -1: "left arm"} {
				p := part(t, r, name)
				arm := p.Shapes[0]
				near(t, crossing.Add(w.right.Scale(side*beside)).Add(w.up.Scale((beyond-length)/2)).Add(w.tube.Scale(lean/2)), arm.Centre(), w.name+", "+name)
				half, turn := arm.HalfSizes()
				near(t, solid.Point{X: thick, Y: (length + beyond) / 2, Z: (wide + math.Abs(lean)) / 2}, half, w.name+", half sizes of the "+name)
				for i, dir := range []solid.Point{w.right, w.up, w.tube} {
					own := solid.Point{X: turn.M[0][i], Y: turn.M[1][i], Z: turn.M[2][i]}
					assert.InDelta(t, 1, math.Abs(own.Dot(dir)), 1e-9, "%s, direction %d of the %s", w.name, i+1, name)
				}
				assert.InDelta(t, 3*(length+beyond)/length, float64(p.Reading-part(t, plain, name).Reading), 1e-9, "%s, %s: what the axes' distance may be out by", w.name, name)
			}
			base, _ := part(t, r, "fork base").Shapes[0].Axis()
			assert.InDelta(t, 0, base.Sub(crossing).Dot(w.tube), 1e-9, "%s: the base turns about axis 1", w.name)
			says := unbroken(rig.Understood(r))
			assert.Equal(t, apart != 0, strings.Contains(says, "arms are taken to stand anywhere from about axis 1 to about axis 2"), "%s: %s", w.name, says)
		}
	}
}

// The arms of the examples, as TestArmsStandWhereTheyMayCarryAxis2 wants them.
var wrenArm, bitternArm = [5]float64{390, 60, 190, 35, 120}, [5]float64{350, 80, 150, 30, 140}

// What carries the arms may be left out; then nothing is said of them.
func TestNothingIsSaidOfArmsThatAreNone(t *testing.T) {
	in := strings.Replace(text(t, rigs+"wren.yaml"), "tape:\n", "leave_out: [left arm, right arm]\ntape:\n  axes_apart_mm: 40\n", 1)
	r, faults := rig.Parse("wren.yaml", []byte(in), nil)
	require.NotNil(t, r, lines(faults))
	assert.NotContains(t, rig.Understood(r), "The arms")
	in = strings.Replace(in, "[left arm, right arm]", "[left arm]", 1)
	r, faults = rig.Parse("wren.yaml", []byte(in), nil)
	require.NotNil(t, r, lines(faults))
	assert.Contains(t, rig.Understood(r), "The arms")
}

// All that hangs on axis 2 is out by what its distance from axis 1 is out by: bar and weights of a German as much as its tube.
func TestReadingOfAxesApartCounts(t *testing.T) {
	parsed := func(apart string) *rig.Rig {
		r, faults := rig.Parse("heron.yaml", []byte(strings.Replace(heronText(t), "  tripod:", "  axes_apart_mm: "+apart+"\n  tripod:", 1)), nil)
		require.NotNil(t, r, lines(faults))
		return r
	}
	exact, about := parsed("12 ± 0"), parsed("12 ± 3")
	for name, want := range map[string]float64{"counterweight bar": 3, "counterweights": 3, "tube": 3, "camera": 3, "dew shield": 3, "hub": 0} {
		assert.InDelta(t, want, float64(part(t, about, name).Reading-part(t, exact, name).Reading), 1e-9, name)
	}
}
