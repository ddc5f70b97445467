package reach_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// byHand writes a fork's right arm as one of the forms that a tape measure leaves open may have it, with a ball before its end, for FCL: the southern
// example, its axes 40 mm apart toward where the tube points at zero. Nothing of it comes from the room that reads the form.
func byHand(apartAtFoot, apartAtEnd float64) string {
	s, c := math.Sincos(31.5 * math.Pi / 180)
	at := func(right, up, tube float64) string { // from the point of axis 1 at 1450 mm; axis 1 rises toward the south pole, the tube points north
		return fmt.Sprintf("%.17g %.17g %.17g", right, -up*c+tube*s, 1450+up*s+tube*c)
	}
	var corners []string
	for _, right := range []float64{155, 225} {
		for _, across := range []float64{-60, 60} {
			corners = append(corners, at(right, -390, apartAtFoot+across), at(right, 60, apartAtEnd+across))
		}
	}
	return fmt.Sprintf("axis 1 0 0 1450 0 %.17g %.17g\naxis 2 %s -1 0 0\nsolid 0 sphere 190 36 1662 40\nsolid 1 hull 8 %s\npair 0 1 0\nend\n",
		-c, s, at(0, 0, 40), strings.Join(corners, " "))
}

// TestArmsOfAFormAgainstFCL: the gap to a fork's arm by the tape-measure form is never wider than FCL finds to the arm written out by hand, whether it
// stands about axis 1, about axis 2, 40 mm from it, or leans from one to the other and on beyond; and at some pose it is as wide as each.
func TestArmsOfAFormAgainstFCL(t *testing.T) {
	const budget = 1e-3 // mm
	content, err := os.ReadFile("../../../testdata/rigs/wren.yaml")
	require.NoError(t, err)
	in := strings.Replace(string(content), "tape:\n", "parts: [{name: post, fixed_to: ground, shapes: [{ball: {centre_mm: [190, 36, 1662], diameter_mm: 80}}]}]\ntape:\n  axes_apart_mm: 40\n", 1)
	r, bad := rig.Parse("wren.yaml", []byte(in), nil)
	require.NotNil(t, r, "%v", bad)
	s := r.Scene(nil, 0, 0)
	named := func(body int) string { return s.Names[s.Bodies[body].Part] }
	gap := func(at rig.Axes) float64 {
		placed := s.Place(at)
		for _, p := range s.Pairs {
			if named(p.A) == "post" && named(p.B) == "right arm" {
				return solid.Distance(placed[p.A], placed[p.B]).Lower
			}
		}
		t.Fatal("no pair of post and right arm")
		return 0
	}
	for name, hand := range map[string][2]float64{"about axis 1": {0, 0}, "about axis 2": {40, 40}, "leaning": {0, 40.0 * 450 / 390}} {
		f := secondOf(t, byHand(hand[0], hand[1]))
		least := math.Inf(1)
		for a1 := -180.0; a1 < 180; a1 += 3 {
			at := rig.DegAxes(a1, 0)
			found := f.gaps(at)[0]
			if found < 0 { // of an overlap FCL tells no depth
				assert.LessOrEqual(t, gap(at), budget, "%s at %v: FCL finds an overlap", name, at)
				continue
			}
			assert.LessOrEqual(t, gap(at), found+budget, "an arm %s at %v, FCL finds", name, at)
			least = min(least, found-gap(at))
		}
		t.Logf("an arm %s: FCL's gap is at least %.4f mm more than the form's", name, least)
		assert.Less(t, least, 1.0, "an arm %s", name)
	}
}
