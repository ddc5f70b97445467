package rig_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// part returns a part by name.
func part(t testing.TB, r *rig.Rig, name string) *rig.Part {
	t.Helper()
	for i := range r.Parts {
		if r.Parts[i].Name == name {
			return &r.Parts[i]
		}
	}
	t.Fatalf("no part %q", name)
	return nil
}

func near(t testing.TB, want, got solid.Point, what string) {
	t.Helper()
	assert.InDelta(t, 0, got.Sub(want).Norm(), 1e-6, "%s = %v, want %v", what, got, want)
}

// Hand-computed with φ = 46.2°, sin φ = 0.72176023, cos φ = 0.69214317. At zero a northern German's saddle is toward
// (0, -sin φ, cos φ), its tube along (0, cos φ, sin φ).
func TestHeronStandsWhereTheTapeSays(t *testing.T) {
	r := heron(t)
	s, c := math.Sin(46.2*math.Pi/180), math.Cos(46.2*math.Pi/180)
	saddle := solid.Point{Y: -205 * s, Z: 1300 + 205*c}
	at := func(y float64) solid.Point { return saddle.Add(solid.Point{Y: y * c, Z: y * s}) }
	for _, w := range []struct {
		name     string
		link     rig.Link
		from, to solid.Point
		radius   float64
	}{
		{"hub", rig.Ground, solid.Point{Y: -125, Z: 1060}, solid.Point{Y: -125, Z: 1150}, 70},
		{"tube", rig.OnAxis2, at(-380), at(300), 60},
		{"dew shield", rig.OnAxis2, at(300), at(520), 75},
		{"camera", rig.OnAxis2, at(-380), at(-540), 85},
		{"counterweight bar", rig.OnAxis1, solid.Point{Z: 1300}, solid.Point{Y: 400 * s, Z: 1300 - 400*c}, 10},
		{"counterweights", rig.OnAxis1, solid.Point{Y: 250 * s, Z: 1300 - 250*c}, solid.Point{Y: 400 * s, Z: 1300 - 400*c}, 55},
	} {
		p := part(t, r, w.name)
		a, b := p.Shapes[0].Axis()
		near(t, w.from, a, w.name+" from")
		near(t, w.to, b, w.name+" to")
		ra, _ := p.Shapes[0].Radii()
		assert.Equal(t, w.radius, ra, w.name)
		assert.Equal(t, w.link, p.Link, w.name)
	}
}

// The lean of a leg is 450/1060, so that its line is carried 25·450/1060 = 10.613 mm below the floor, and a foot cut off flat
// on the floor lies inside: its farthest corner is on the floor, 25·√(1060² + 450²)/1060 = 27.159 mm outside the leg's middle.
func TestLegsHoldTheirFeet(t *testing.T) {
	r := heron(t)
	leg := part(t, r, "south-east leg").Shapes[0]
	a, b := leg.Axis()
	near(t, solid.Point{X: 70 * math.Sqrt(3) / 2, Y: -125 - 35, Z: 1060}, a, "top")
	out := solid.Point{X: math.Sqrt(3) / 2, Y: -0.5}
	foot := solid.Point{Y: -125}.Add(out.Scale(520))
	down := foot.Sub(a).Unit()
	near(t, foot.Add(down.Scale(25*450.0/1060)), b, "foot")
	for _, corner := range []solid.Point{foot.Add(out.Scale(27.1590)), foot.Sub(out.Scale(27.1590))} {
		p, err := solid.Sphere(corner, 0)
		require.NoError(t, err)
		assert.LessOrEqual(t, solid.Distance(leg, p).Upper, 0.001, "the flat foot's corner lies in the leg")
	}
}

func TestHomeIsClearAndTubeDownIsNot(t *testing.T) {
	r := heron(t)
	s := r.Scene(nil, 10, 10)
	require.Len(t, s.Pairs, 25, "5 ground parts with 2 on axis 1 and 3 on axis 2; weights and bar never near what turns with axis 2")
	least := func(a rig.Axes) (gap float64, pair string) {
		gap = math.Inf(1)
		placed := s.Place(a)
		for _, p := range s.Pairs {
			require.EqualValues(t, 30, p.Required)
			if g := solid.Distance(placed[p.A], placed[p.B]).Lower; g < gap {
				gap, pair = g, s.Names[s.Bodies[p.A].Part]+" and "+s.Names[s.Bodies[p.B].Part]
			}
		}
		return gap, pair
	}
	gap, pair := least(r.Home)
	assert.Equal(t, "hub and tube", pair)
	assert.InDelta(t, 108.08, gap, 0.1, "regression")
	gap, pair = least(rig.DegAxes(90, -20))
	assert.Equal(t, "south-west leg and camera", pair)
	assert.Less(t, gap, 0.0, "tube west, near the zenith: the camera is in the leg")
	gap, pair = least(rig.DegAxes(-90, 20))
	assert.Equal(t, "south-east leg and camera", pair)
	assert.Less(t, gap, 0.0, "tube east")
}

// A rig mirrored in the plane of east and up, on the other side of the equator, is the same rig in a mirror: at equal axis
// angles of a German every gap is the same, and a fork's second axis turns the other way. What is on the left of who looks along the tube is
// on the right in the mirror.
func TestHemispheresMirror(t *testing.T) {
	north := heronText(t)
	south := strings.NewReplacer("latitude_deg: 46.20", "latitude_deg: -46.20", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125",
		"leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [180, 60, 300]").Replace(north)
	compare(t, north, south, 1, -17)
	fork := text(t, rigs+"wren.yaml")
	mirrored := strings.NewReplacer("latitude_deg: -31.5", "latitude_deg: 31.5", "crossing_north_of_hub_mm: -330", "crossing_north_of_hub_mm: 330",
		"leg_azimuths_deg: [60, 180, 300]", "leg_azimuths_deg: [120, 0, 240]", "axes_deg: [0, -89]", "axes_deg: [0, 89]", "axis2_deg: [-95, 60]", "axis2_deg: [-60, 95]").Replace(fork)
	compare(t, fork, mirrored, -1, 17)
}

func compare(t *testing.T, one, other string, sign2 float64, apart int) {
	t.Helper()
	missing := func(by int) string { return fmt.Sprintf("  axes_apart_mm: %d\n  tripod:", by) }
	a, faults := rig.Parse("one", []byte(strings.Replace(one, "  tripod:", missing(17), 1)), nil)
	require.Empty(t, faults, lines(faults))
	b, faults := rig.Parse("other", []byte(strings.Replace(other, "  tripod:", missing(apart), 1)), nil)
	require.Empty(t, faults, lines(faults))
	sa, sb := a.Scene(nil, 10, 10), b.Scene(nil, 10, 10)
	require.Len(t, sb.Pairs, len(sa.Pairs))
	rng := rand.New(rand.NewPCG(1, 2))
	for range 40 {
		a1, a2 := rng.Float64()*180-90, rng.Float64()*300-150
		pa, pb := sa.Place(rig.DegAxes(a1, a2)), sb.Place(rig.DegAxes(a1, sign2*a2))
		for i, s := range pa {
			name := sa.Names[sa.Bodies[i].Part]
			twin := i
			if sign2 < 0 && strings.HasSuffix(name, " arm") { // a right arm in the mirror is a left one; they stand next to each other
				twin = map[string]int{"right arm": i + 1, "left arm": i - 1}[name]
			}
			want, got := s.Centre(), pb[twin].Centre()
			want.Y = -want.Y
			near(t, want, got, name)
		}
	}
}

// The fork's arms stand along axis 1 on both sides of the tube, the base below, coaxial with axis 1, in both hemispheres.
func TestForkStandsAboutItsAxes(t *testing.T) {
	r, faults := rig.Parse("wren.yaml", []byte(text(t, rigs+"wren.yaml")), nil)
	require.Empty(t, faults)
	pole := solid.Point{Y: -math.Cos(31.5 * math.Pi / 180), Z: math.Sin(31.5 * math.Pi / 180)} // the southern one, above the south
	crossing := solid.Point{Z: 1450}
	a, b := part(t, r, "fork base").Shapes[0].Axis()
	near(t, crossing.Sub(pole.Scale(510)), a, "underside of the base")
	near(t, crossing.Sub(pole.Scale(390)), b, "upper side of the base")
	right := part(t, r, "right arm").Shapes[0].Centre()
	near(t, crossing.Add(solid.Point{X: 190}).Sub(pole.Scale(165)), right, "right arm, of who looks north along the tube: east")
	for name, want := range map[string]float64{"tube": 4, "camera": 4, "fork base": 4, "wedge": 2*2 + 1 + 2 + 1} {
		assert.InDelta(t, want, float64(part(t, r, name).Reading), 3, "%s: reading errors add up", name)
	}
	assert.EqualValues(t, 4+5, r.Placing, "height ±4, sideways ±5, no stated east")
	var touch [][2]string
	for _, p := range r.Allowed {
		touch = append(touch, [2]string{r.Parts[p[0]].Name, r.Parts[p[1]].Name})
	}
	assert.Equal(t, [][2]string{{"wedge", "fork base"}, {"right arm", "tube"}, {"left arm", "tube"}}, touch)
}

func TestTubeMustTurnBetweenTheArms(t *testing.T) {
	in, _ := changed(t, text(t, rigs+"wren.yaml"), "arm_gap_mm: 310", "arm_gap_mm: 239")
	r, faults := rig.Parse("wren.yaml", []byte(in), nil)
	require.Nil(t, r)
	assert.Equal(t, "tape.tube_diameter_mm", faults[0].Key)
}

func TestReadingErrorsWidenTheRequiredGap(t *testing.T) {
	in, _ := changed(t, heronText(t), "floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1300 ± 4")
	in, _ = changed(t, in, "camera_radius_mm: 85 ", "camera_radius_mm: 85 +- 1.5 ")
	in, _ = changed(t, in, "leg_diameter_mm: 50", "leg_diameter_mm: 50 ±1")
	r, faults := rig.Parse("heron.yaml", []byte(in), nil)
	require.Empty(t, faults, lines(faults))
	s := r.Scene(nil, 10, 10)
	for _, p := range s.Pairs {
		names := s.Names[s.Bodies[p.A].Part] + " and " + s.Names[s.Bodies[p.B].Part]
		want := map[string]float64{"north leg and camera": 30 + 4 + 1.5 + 0.5, "hub and camera": 30 + 4 + 1.5, "hub and tube": 34}[names]
		if want > 0 {
			assert.EqualValues(t, want, p.Required, names)
		}
	}
	for _, bad := range []string{"1300 ±", "1300 ± x", "1300 ± -1", "1300 ± 60", "± 4", `"1300 ± 4"`} {
		in, _ := changed(t, heronText(t), "floor_to_crossing_mm: 1300", "floor_to_crossing_mm: "+bad)
		_, faults := rig.Parse("heron.yaml", []byte(in), nil)
		require.NotEmpty(t, faults, bad)
		assert.Contains(t, faults[0].Key, "tape.floor_to_crossing_mm", bad)
	}
}

func TestAltAzimuthStandsOnItsPier(t *testing.T) {
	r, faults := rig.Parse("bittern.yaml", []byte(text(t, rigs+"bittern.yaml")), nil)
	require.Empty(t, faults)
	a, b := part(t, r, "tube").Shapes[0].Axis()
	near(t, solid.Point{Y: -300, Z: 1270}, a, "rear, south at home")
	near(t, solid.Point{Y: 420, Z: 1270}, b, "front, north at home")
	near(t, solid.Point{X: 150, Z: 1135}, part(t, r, "right arm").Shapes[0].Centre(), "right arm, east")
	wall := part(t, r, "wall 2").Shapes[0]
	low, high := wall.Bounds()
	assert.InDelta(t, -1550, low.X, 1e-6)
	assert.InDelta(t, -1450, high.X, 1e-6)
	assert.InDelta(t, -1250, low.Y, 1e-6, "half a thickness beyond its end")
}

func TestLegNames(t *testing.T) {
	for azimuths, want := range map[string][]string{
		"[0, 120, 240]":        {"north leg", "south-east leg", "south-west leg"},
		"[90, 112, 270]":       {"east leg", "east-south-east leg", "west leg"},
		"[90, 95, 270, 359.9]": {"leg at 90°", "leg at 95°", "leg at 270°", "leg at 359.9°"},
	} {
		in, _ := changed(t, heronText(t), "[0, 120, 240]", azimuths)
		r, faults := rig.Parse("heron.yaml", []byte(in), nil)
		require.Empty(t, faults, lines(faults))
		var got []string
		for _, p := range r.Parts {
			if strings.Contains(p.Name, "leg") {
				got = append(got, p.Name)
			}
		}
		assert.Equal(t, want, got, azimuths)
	}
}

// Axis 2 of a German passes on the left of who looks along the tube at zero: west in the north, where that is toward north, and east in the
// south, where it is toward south. The same mount, carried over the equator, is built the same.
func TestAxesApartIsOnTheLeftOfTheTube(t *testing.T) {
	for lat, east := range map[string]float64{"46.20": -17, "-46.20": 17} {
		hub := map[bool]string{true: "-125", false: "125"}[east > 0]
		r, faults := rig.Parse("heron.yaml", []byte(strings.NewReplacer("latitude_deg: 46.20", "latitude_deg: "+lat, "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: "+hub,
			"leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [180, 60, 300]", "  tripod:", "  axes_apart_mm: 17\n  tripod:").Replace(heronText(t))), nil)
		require.NotNil(t, r, lines(faults))
		off := r.Chain.Point2.Sub(r.Chain.Point1)
		assert.InDelta(t, east, off.X, 1e-9, "latitude %s", lat)
		tube := r.Chain.Direction(rig.Axes{})
		left := frame.Vec[frame.Rig]{Z: 1}.Cross(tube)
		assert.Greater(t, off.Dot(left), 0.0, "latitude %s", lat)
		assert.Contains(t, rig.Understood(r), map[bool]string{true: "17 mm, axis 2 passing east of it", false: "17 mm, axis 2 passing west of it"}[east > 0])
	}
}
