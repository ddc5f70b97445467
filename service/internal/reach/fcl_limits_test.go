package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// surveyOf is what the service asks of a rig, but for the spread.
func surveyOf(t testing.TB, r *rig.Rig, s *rig.Scene, spread rig.Axes) *reach.Survey {
	t.Helper()
	p := reach.New(s)
	out := p.Survey(p.NewMap(), reach.SurveyOf{About: r.Home, Spread: spread, Travel: r.Travel, Band: unit.Deg(30), Budget: reach.RasterBudget}, always)
	require.NotNil(t, out)
	return out
}

// steps are the poses of a grid that lie within an extent and by on either side of it, first and last.
func steps(e reach.Extent, by unit.Angle, perDeg int) (first, last int) {
	const whole = 1e-6 // of a step: the ends of extents lie on cells' edges
	low, high := (e.Low-by).Deg()*float64(perDeg), (e.High+by).Deg()*float64(perDeg)
	return int(math.Ceil(low - whole)), int(math.Floor(high + whole))
}

// worstIn is the worst sign of some poses of a grid.
func worstIn(g *gridded, i0, i1, j0, j1 int) byte {
	out := byte('+')
	for i := i0; i <= i1; i++ {
		for j := j0; j <= j1; j++ {
			switch g.at(i, j) {
			case '-':
				return '-'
			case '0':
				out = '0'
			}
		}
	}
	return out
}

// TestWidestAgainstFCL: within the widest limits, and the limits of every band, with their spread, FCL finds every pose of its grid kept;
// beyond each end that something bounds it finds one that is not, within so much as is said.
func TestWidestAgainstFCL(t *testing.T) {
	const perDeg, most = 8, 1.0
	for _, name := range rigsForFCL() {
		r, s := exampleScene(t, name)
		g := newSecond(t, s).grid(perDeg)
		for _, spread := range []rig.Axes{{}, r.Homing.Sigma.Scale(3).Add(r.Motion.Overrun)} {
			v := surveyOf(t, r, s, spread)
			if !v.Clear {
				t.Logf("%s: not clear at home with %v", name, spread)
				continue
			}
			i0, i1 := steps(v.Widest[0], spread.A1, perDeg)
			j0, j1 := steps(v.Widest[1], spread.A2, perDeg)
			assert.NotEqual(t, "-", string(worstIn(&g, i0, i1, j0, j1)), "%s: FCL finds a pose of the widest limits %v that is not kept", name, v.Widest)
			for axis, e := range v.Widest {
				for dir, bound := range map[int]bool{-1: v.Binds[axis][0] != nil, 1: v.Binds[axis][1] != nil} {
					if e.Free || !bound {
						continue
					}
					by := beyond(&g, [2][2]int{{i0, i1}, {j0, j1}}, axis, dir)
					assert.LessOrEqual(t, by, most, "%s: axis %d could go on by so many degrees, as FCL finds, from %v", name, axis+1, v.Widest)
					t.Logf("%s: axis %d, end %+d, with %v: bounded within %g°", name, axis+1, dir, spread, by)
				}
			}
			for _, b := range append(v.Bands, v.Across) {
				if !b.Clear {
					continue
				}
				i0, i1 := steps(b.Axis1, spread.A1, perDeg)
				j0, j1 := steps(b.Axis2, spread.A2, perDeg)
				assert.NotEqual(t, "-", string(worstIn(&g, i0, i1, j0, j1)), "%s: FCL finds a pose of the band %v that is not kept", name, b)
			}
		}
	}
}

// beyond is how far past an end of a rectangle of a grid the nearest pose lies that is not kept, degrees, as far as is looked.
func beyond(g *gridded, box [2][2]int, axis, dir int) float64 {
	for n := 1; n <= 5*g.perDeg; n++ {
		row := box
		at := box[axis][0] - n
		if dir > 0 {
			at = box[axis][1] + n
		}
		row[axis] = [2]int{at, at}
		if worstIn(g, row[0][0], row[0][1], row[1][0], row[1][1]) == '-' {
			return float64(n) / float64(g.perDeg)
		}
	}
	return 5
}

// TestGapsAgainstFCL: at poses all over the travel and at some near contact, what is proven of the least spare holds FCL's, and every pair's gap,
// and so the least spare, is FCL's within a thousandth of a millimetre.
func TestGapsAgainstFCL(t *testing.T) {
	const budget = 1e-3 // mm
	for _, name := range rigsForFCL() {
		r, s := exampleScene(t, name)
		f, p := newSecond(t, s), reach.New(s)
		var worst, worstLeast float64
		nearest, near := math.Inf(1), 0
		for i, at := range tenPoses(r, p) {
			spare, _ := f.least(at)
			got := p.Prove(reach.Hold(at), rig.Axes{}, reach.DefaultBudget)
			require.True(t, got.Decided, "%s: at %v", name, at)
			assert.LessOrEqual(t, float64(got.Lower), spare+budget, "%s: proven at %v, FCL finds", name, at)
			placed := s.Place(at)
			least := math.Inf(1)
			for n, d := range f.gaps(at) {
				pair := s.Pairs[n]
				g := solid.Distance(placed[pair.A], placed[pair.B])
				least = min(least, g.Upper-float64(pair.Required))
				if d < 0 { // of an overlap FCL tells no depth
					assert.LessOrEqual(t, g.Lower, budget, "%s: pair %d at %v overlaps as FCL finds", name, n, at)
					continue
				}
				assert.InDelta(t, d, g.Lower, budget, "%s: pair %d at %v, FCL finds", name, n, at)
				assert.InDelta(t, d, g.Upper, budget, "%s: pair %d at %v, FCL finds", name, n, at)
				worst = max(worst, math.Abs(d-g.Lower), math.Abs(d-g.Upper))
			}
			assert.LessOrEqual(t, float64(got.Lower), least+budget, "%s: at %v", name, at)
			exact := p.Least(at)
			assert.InDelta(t, least, float64(exact.Upper), budget, "%s: the least of all pairs at %v", name, at)
			if least > 0 {
				assert.InDelta(t, spare, float64(exact.Lower), budget, "%s: the least spare at %v, FCL finds", name, at)
				assert.InDelta(t, spare, least, budget, "%s: the least spare at %v, FCL finds", name, at)
				worstLeast = max(worstLeast, math.Abs(spare-least))
			}
			if nearest = min(nearest, spare); i >= 5 {
				near++
			}
		}
		t.Logf("%s: worst difference of a gap %.2g mm, of the least spare %.2g mm; least spare seen %.3g mm, %d poses near contact", name, worst, worstLeast, nearest, near)
	}
}

// tenPoses are five drawn by lot from the travel and five of the poses at which the least spare of a motion by lot was found.
func tenPoses(r *rig.Rig, p *reach.Prover) (out []rig.Axes) {
	lot := rand.New(rand.NewPCG(10, 63))
	in := func() rig.Axes {
		d := r.Travel.High.Sub(r.Travel.Low)
		return r.Travel.Low.Add(rig.Axes{A1: d.A1 * unit.Angle(lot.Float64()), A2: d.A2 * unit.Angle(lot.Float64())})
	}
	for len(out) < 5 {
		out = append(out, in())
	}
	for len(out) < 10 {
		if seen := p.Prove(reach.Straight(in(), in(), r.Motion), rig.Axes{}, reach.DefaultBudget).Nearest; seen != nil {
			out = append(out, seen.Pose)
		}
	}
	return out
}
