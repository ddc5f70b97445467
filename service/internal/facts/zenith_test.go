package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Within a degree of the zenith a second moves axis 1 of an alt-azimuth by up to some degrees: each end is where the target stands when that way
// arrives there.
func TestEndsNearTheZenithAreThoseOfTheirArrival(t *testing.T) {
	r := *example(t, "bittern.yaml")
	r.Mount.Refracts = false
	r.Travel.High.A2 = 95 * unit.Degree
	m, err := moment(evening)
	require.NoError(t, err)
	worst, most := unit.Angle(0), 0.0
	for _, off := range []float64{-1, -0.3, -0.1, -0.05, 0.05, 0.1, 0.3, 1} {
		for _, hour := range []float64{-0.5, -0.35, -0.3, -0.25, -0.2, -0.15, -0.1, 0, 0.1} {
			star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) - unit.Deg(hour)).Positive(), Dec: r.Site.Lat + unit.Deg(off), Frame: question.OfDate}
			in := standing(t, &r, rig.DegAxes(30, 20), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})
			in.Proposes = false
			out := facts.Compute(in)
			require.NotEmpty(t, out.Ends)
			for _, e := range out.Ends {
				then := rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon) + unit.Angle(e.MotionS)*question.SiderealRate, Lat: r.Site.Lat}
				want := rig.LiftNear(r.Map(then, star.RA, star.Dec, e.Side), e.Axes)
				worst, most = max(worst, r.Chain.Direction(want).Angle(r.Chain.Direction(e.Axes))), max(most, want.Sub(e.Axes).Abs().A1.Deg())
			}
		}
	}
	t.Logf("worst %.2f″ on the sky, %.3f° of axis 1", worst.Deg()*3600, most)
	assert.Less(t, worst, 0.5*unit.Arcsecond)
	assert.Less(t, most, 0.1)
}
