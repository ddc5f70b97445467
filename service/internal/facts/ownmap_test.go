package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Of an alt-azimuth that tells no clock or no site nothing is taken for right: it says what is missing, and what works; what somebody told of it
// since the homing counts, with its error, until belief steps unasked.
func TestWhatAnAltAzimuthCannotTell(t *testing.T) {
	ahead := func(deg float64) func(*facts.Input) {
		return func(in *facts.Input) { a := unit.Deg(deg); in.Snapshot.Rig.Ahead = &a }
	}
	step := func(asked bool) func(*facts.Input) {
		return func(in *facts.Input) {
			ahead(0)(in)
			in.Snapshot.Rig.Steps = []question.Step{{Axes: rig.DegAxes(1, 1), Asked: asked}}
		}
	}
	for _, c := range []struct {
		name           string
		clock, site    bool // that the file says that it tells
		told           bool // the sidereal time, by the sample
		sited          bool
		change         func(*facts.Input)
		missing, words string // of mount_map_error_deg
		is             float64
	}{
		{"all told", true, true, true, true, nil, "", "", 0},
		{"no clock", false, true, false, true, nil, "cannot be read", "mount_lst_deg", 0},
		{"no clock, and belief alone", false, true, false, true, func(in *facts.Input) {
			in.Rig.Sources = []rig.Source{{Kind: rig.UnsyncedBelief}}
		}, "cannot be read", "each sample; never", 0},
		{"no clock, and the sample tells it", false, true, true, true, nil, "", "", 0},
		{"no clock, and somebody told it", false, true, false, true, ahead(0), "", "", 0},
		{"no clock, and somebody told it: 0.3° off", false, true, false, true, ahead(-0.3), "", "", 0.3},
		{"no clock, told, and belief stepped unasked", false, true, false, true, step(false), "stepped unasked", "home it", 0},
		{"no clock, told, and it was synced", false, true, false, true, step(true), "", "", 0},
		{"a silent clock is not taken as told before", true, true, false, true, ahead(0), "was not reported", "", 0},
		{"no site", true, false, true, false, nil, "own site cannot be read", "mount_site", 0},
		{"no site, and somebody told it", true, false, true, true, nil, "", "", 0},
		{"a silent site", true, true, true, false, nil, "never reported", "", 0},
		{"neither", false, false, false, false, nil, "own site cannot be read", "mount_lst_deg", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := *example(t, "bittern.yaml")
			r.Mount.TellsSidereal, r.Mount.TellsSite = c.clock, c.site
			ask := func(a question.Action) facts.Set {
				in := standing(t, &r, rig.DegAxes(20, 40), rig.Axes{}, a)
				if !c.told {
					in.Snapshot.Rig.Sample.Sidereal = nil
				}
				in.Snapshot.Rig.Site = nil
				if c.sited {
					in.Snapshot.Rig.Site = &question.Place{Lat: r.Site.Lat, Lon: r.Site.Lon}
				}
				if c.change != nil {
					c.change(&in)
				}
				return facts.Compute(in).Facts
			}
			m, err := moment(evening)
			require.NoError(t, err)
			ra, dec, _ := r.Unmap(rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon), Lat: r.Site.Lat}, rig.DegAxes(50, 45))
			f := ask(question.Action{Kind: question.Slew, Sky: &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Follow: time.Minute})
			for _, name := range []string{"mount_map_error_deg", "end_spread_deg", "clearance_spare_mm"} {
				if c.missing == "" {
					assert.NotNil(t, f[name].Number, name)
					continue
				}
				assert.Contains(t, f[name].Missing, c.missing, name)
				assert.Equal(t, "sample", f[name].Need, name)
				assert.Contains(t, f[name].Remedy, c.words, name)
				assert.Equal(t, c.words != "", f[name].Remedy != "", name)
			}
			if c.missing == "" {
				assert.InDelta(t, c.is, number(t, f, "mount_map_error_deg"), 1e-3)
			}
			a := axesSlew(rig.DegAxes(50, 45))
			stops := ask(a)
			assert.Positive(t, number(t, stops, "clearance_spare_mm"), "by axes it goes")
			assert.Equal(t, "the motion ends by itself", stops["unstopped_spare_s"].About[0], "and stops there")
			a.Follow = 10 * time.Minute
			for _, name := range []string{"track_spare_s", "track_spare_sharp_s", "unstopped_spare_s", "stop_acts"} {
				assert.Equal(t, !c.sited, ask(a)[name].Missing != "", "%s: how it follows the sky from there goes by its latitude, not by its clock", name)
			}
		})
	}
}
