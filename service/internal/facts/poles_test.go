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

// TestEndAtAPoleKeepsTheSideAskedFor: exactly at a pole axis 2 of a German stands at 0° or half a turn, which is as much east as west, while axis 1 of
// the two differs by half a turn: h - 90° east, h + 90° west (design, section 4). The end is told as on the side that was asked for, and the same question
// after a way round asks for that side again.
func TestEndAtAPoleKeepsTheSideAskedFor(t *testing.T) {
	const hour = 20.0
	north := heron(t)
	south := heron(t, "latitude_deg: 46.20", "latitude_deg: -46.20", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125", "leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [180, 60, 300]")
	m, err := moment(evening)
	require.NoError(t, err)
	for _, r := range []*rig.Rig{north, south} {
		r := *r
		r.Mount.Chooses = rig.AskerChooses
		star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) - unit.Deg(hour)).Positive(), Frame: question.OfDate}
		for dec, beside := range map[float64]float64{90: 89, -90: -89} {
			for side, axis1 := range map[rig.Side]float64{rig.East: hour - 90, rig.West: hour + 90} {
				for _, at := range []float64{dec, beside} {
					star.Dec = unit.Deg(at)
					out := facts.Compute(standing(t, &r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star, Side: side}))
					require.NotEmpty(t, out.Ends)
					for _, e := range out.Ends {
						assert.Equal(t, side, e.Side, "declination %v from %v, %s", at, r.Site.Lat.Deg(), e.Because)
						assert.InDelta(t, 0, (e.Axes.A1 - unit.Deg(axis1)).Wrapped().Deg(), 0.5, "declination %v from %v, %s: what the sky turns meanwhile", at, r.Site.Lat.Deg(), side)
					}
					for _, p := range out.Instead {
						if last := p.Steps[len(p.Steps)-1]; len(p.Steps) > 1 && last.Sky != nil {
							assert.Equal(t, side, last.Side, "declination %v: the same again", at)
						}
					}
				}
			}
		}
	}
}
