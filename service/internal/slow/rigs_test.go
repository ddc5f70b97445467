package slow_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"keepclear.example/keepclear/service/internal/slow"
)

const degree = math.Pi / 180

// drawn is a rig drawn by lot: as a file for the service and as plain numbers for the second opinion.
type drawn struct {
	rng    *rand.Rand
	slow   slow.Rig
	limits map[string]float64
	text   strings.Builder
}

// within is a number of a range, rounded so that file and plain numbers say the same.
func (d *drawn) within(low, high float64) float64 {
	return math.Round((low+d.rng.Float64()*(high-low))*1000) / 1000
}

func (d *drawn) line(format string, a ...any) { fmt.Fprintf(&d.text, format+"\n", a...) }

func (d *drawn) coin(of int) bool { return d.rng.IntN(of) == 0 }

func pick[T any](rng *rand.Rand, of ...T) T { return of[rng.IntN(len(of))] }

// rads writes a pair of angles and returns it in radians.
func rads(a, b float64) slow.Axes { return slow.Axes{a * degree, b * degree} }

// drawRig draws a rig. Not every one stands: the file's checks say which.
func drawRig(rng *rand.Rand, kind string, south bool) *drawn {
	d := &drawn{rng: rng, limits: slow.Defaults()}
	r := &d.slow
	r.Kind = kind
	lat, lon := d.within(4, 66), d.within(-179, 179)
	if south {
		lat = -lat
	}
	r.Lat, r.Lon = lat*degree, lon*degree
	r.Pressure, r.Warmth = d.within(700, 1020), d.within(-15, 25)
	d.line("rig: lot\ntitle: A rig drawn by lot\nkind: %s\n", kind)
	d.line("site: {latitude_deg: %v, longitude_deg: %v, height_m: 100, pressure_hpa: %v, temperature_celsius: %v}", lat, lon, r.Pressure, r.Warmth)
	if kind != slow.AltAz && d.coin(2) {
		e, u := d.within(-1.5, 1.5), d.within(-1.5, 1.5)
		r.TiltEast, r.TiltUp = e*degree, u*degree
		d.line("polar_error: {east_deg: %v, up_deg: %v}", e, u)
	}
	d.form()
	d.parts()
	d.turns()
	d.moves()
	d.mount()
	d.rest()
	d.ownLimits()
	d.line("has_no: [drag, roof, neighbours]\nend: lot")
	r.Ready()
	return d
}

// form writes the tape form, of which all but the axes is left out.
func (d *drawn) form() {
	r := &d.slow
	r.Crossing, r.Apart = d.within(900, 1600), 0
	if d.coin(3) {
		r.Apart = d.within(-60, 60)
	}
	up := d.within(0, 3)
	r.Placing = up
	d.line("tape:\n  floor_to_crossing_mm: %v ± %v\n  crossing_north_of_hub_mm: 0 ± 0\n  axes_apart_mm: %v ± 0\n  floor: no", r.Crossing, up, r.Apart)
	d.line("  pier: {diameter_mm: 100, height_mm: 500}\n  tube_diameter_mm: 100\n  front_reach_mm: 200\n  back_reach_mm: 200")
	if r.Kind == slow.German {
		d.line("  crossing_to_tube_mm: 200\n  bar_diameter_mm: 30\n  weights_radius_mm: 60\n  weights_from_mm: 100\n  weights_to_mm: 200")
		d.line("leave_out: [pier, counterweight bar, counterweights, tube]")
		return
	}
	d.line("  fork: {arm_length_mm: 300, arm_beyond_axis2_mm: 30, arm_gap_mm: 300, arm_thickness_mm: 40, arm_width_mm: 80, base_diameter_mm: 150, base_height_mm: 60}")
	d.line("leave_out: [pier, wedge, fork base, right arm, left arm, tube]")
}

// turns writes home, rest and travel.
func (d *drawn) turns() {
	r := &d.slow
	home := [2]float64{0, 0}
	if d.coin(3) {
		home = [2]float64{d.within(-20, 20), d.within(-20, 20)}
	}
	low, high := [2]float64{d.within(-185, -80), d.within(-180, -90)}, [2]float64{d.within(80, 185), d.within(90, 180)}
	switch r.Kind {
	case slow.Fork:
		low[1], high[1] = d.within(-110, -60), pick(d.rng, d.within(60, 110), d.within(110, 240))
	case slow.AltAz:
		low[0], high[0] = d.within(-400, -120), d.within(120, 400)
		home[1] = d.within(-2, 60)
		low[1], high[1] = d.within(-70, -5), pick(d.rng, d.within(30, 90), d.within(60, 150))
	}
	rest := [2]float64{home[0] + d.within(low[0]/3, high[0]/3), home[1] + d.within(low[1]/4, high[1]/4)}
	rest[0], rest[1] = math.Round(rest[0]*100)/100, math.Round(rest[1]*100)/100
	r.Home, r.Rests = rads(home[0], home[1]), []slow.Axes{rads(rest[0], rest[1])}
	r.Low, r.High = rads(home[0]+low[0], home[1]+low[1]), rads(home[0]+high[0], home[1]+high[1])
	d.line("home_deg: [%v, %v]\nrests:\n  - {name: rest, axes_deg: [%v, %v]}", home[0], home[1], rest[0], rest[1])
	d.line("travel_from_home:\n  axis1_deg: [%v, %v]\n  axis2_deg: [%v, %v]", low[0], high[0], low[1], high[1])
}

func (d *drawn) moves() {
	r := &d.slow
	r.Sharing = pick(d.rng, "straight", "independent", "independent", "axis 1 first", "axis 2 first", "any order")
	r.Way = pick(d.rng, "within travel", "within travel", "within travel", "shortest", "unknown")
	rate, accel := [2]float64{d.within(1, 6), d.within(1, 6)}, [2]float64{d.within(0.8, 5), d.within(0.8, 5)}
	for i := range rate {
		r.Rate[i], r.Accel[i] = rate[i]*degree, accel[i]*degree
	}
	over := [2]float64{}
	if d.coin(2) {
		over = [2]float64{d.within(0, 1), d.within(0, 1)}
	}
	r.Overrun = rads(over[0], over[1])
	d.line("motion:\n  axes_move: %s\n  way_round: %s\n  rate_deg_per_s: [%v, %v]\n  acceleration_deg_per_s2: [%v, %v]\n  overrun_deg: [%v, %v]",
		r.Sharing, r.Way, rate[0], rate[1], accel[0], accel[1], over[0], over[1])
	by := func(key string) []slow.Axes {
		if !d.coin(8) {
			return nil
		}
		a, b := r.Home[0]/degree+d.within(-25, 25), r.Home[1]/degree+d.within(-20, 20)
		a, b = math.Round(a*100)/100, math.Round(b*100)/100
		d.line("  %s: [[%v, %v]]", key, a, b)
		return []slow.Axes{rads(a, b)}
	}
	r.Via, r.FlipVia = by("goes_by_deg"), by("flips_by_deg")
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

func (d *drawn) mount() {
	r := &d.slow
	r.Sync = pick(d.rng, "axes", "axes", "sky", "unknown", "none", "axes", "sky", "axes", "axes", "sky", "none", "model")
	r.Chooses = pick(d.rng, "asker", "asker", "hour angle", "asker", "asker", "any")
	if r.Kind != slow.German && !d.coin(3) {
		r.Chooses = "first only"
	}
	r.SideSensed, r.TellsLST, r.TellsSite = d.coin(2), d.coin(2), d.coin(2)
	r.Refracts = d.coin(5)
	d.line("mount:\n  keeps_sync_on: %s\n  side_chosen_by: %s\n  side_is_sensed: %s\n  map_includes_refraction: %s\n  tells_sidereal_time: %s\n  tells_site: %s\n  nobody_else_syncs: yes",
		r.Sync, r.Chooses, yes(r.SideSensed), yes(r.Refracts), yes(r.TellsLST), yes(r.TellsSite))
	if r.Chooses == "hour angle" && d.coin(2) {
		delay := d.within(-15, 15)
		r.Delay = delay * degree
		d.line("  changes_side_at_deg: %v", delay)
	}
	r.FlipsItself = r.Kind == slow.German && d.coin(6)
	d.line("  flips_while_tracking: %s", yes(r.FlipsItself))
	if r.FlipsItself {
		at := d.within(0, 20)
		r.FlipAt = at * degree
		d.line("  flips_at_deg: %v", at)
	}
	d.line("pose_sources:\n  - {kind: motor count, clutch_side: motor, sigma_deg: [0.1, 0.1]}")
}

func (d *drawn) rest() {
	r := &d.slow
	r.HomeBy, r.HomeOrder = pick(d.rng, "sensor", "person", "belief"), pick(d.rng, "straight", "independent", "axis 1 first", "axis 2 first", "any order")
	d.line("homing:\n  by: %s\n  axes_move: %s\n  sigma_deg: [0.3, 0.3]", r.HomeBy, r.HomeOrder)
	if d.coin(2) {
		a, b := d.within(0, 4), d.within(0, 4)
		r.Search = rads(a, b)
		d.line("  search_deg: [%v, %v]", a, b)
	}
	d.line("if_asker_dies:")
	r.Stop.Kind = pick(d.rng, "nothing", "motion ends", "mount limit", "power relay", "power relay")
	d.line("  stops_it: %s", r.Stop.Kind)
	switch r.Stop.Kind {
	case "mount limit":
		r.Stop.Axis = d.rng.IntN(2)
		limit := math.Round((r.High[r.Stop.Axis]/degree-d.within(0, 20))*100) / 100
		r.Stop.Limit, r.Stop.Seen = limit*degree, d.coin(2)
		d.line("  axis: %d\n  limit_deg: %v", r.Stop.Axis+1, limit)
		if r.Stop.Seen {
			d.line("  last_seen: 2018-01-01") // before any question
		}
	case "power relay":
		r.Stop.After = d.within(10, 600)
		d.line("  after_s: %v", r.Stop.After)
	}
	d.optics()
	if d.coin(3) {
		n := 2 + d.rng.IntN(5)
		d.line("horizon_deg:")
		for i := range n {
			az, alt := math.Round(360*(float64(i)+0.1)/float64(n)), d.within(-2, 30)
			r.Skyline = append(r.Skyline, [2]float64{az * degree, alt * degree})
			d.line("  - [%v, %v]", az, alt)
		}
	}
}

func (d *drawn) optics() {
	r := &d.slow
	d.line("optics:\n  - name: main")
	known := func(key string, low, high, unit float64) *float64 {
		if d.coin(3) {
			return nil
		}
		v := d.within(low, high)
		d.line("    %s: %v", key, v)
		v *= unit
		return &v
	}
	r.Optics.Pixel, r.Optics.Camera, r.Optics.Field = known("pixel_arcsec", 0.5, 4, degree/3600), known("camera_angle_deg", 0, 359, degree), known("field_long_deg", 0.5, 3, degree)
	if !d.coin(3) {
		m := d.coin(2)
		r.Optics.Mirrored = &m
		d.line("    mirrored: %s", yes(m))
	}
	r.Lacks = map[string]bool{}
	var lacks []string
	for _, f := range []string{"scale", "rotation", "mirror", "matched", "residual", "radius"} {
		if d.coin(6) {
			lacks, r.Lacks[f] = append(lacks, f), true
		}
	}
	d.line("solver_lacks: [%s]", strings.Join(lacks, ", "))
}

// ownLimits tightens some limits, as a rig file may.
func (d *drawn) ownLimits() {
	if !d.coin(3) {
		return
	}
	d.line("limits:")
	for _, l := range []struct {
		rule, name string
		low, high  float64
	}{
		{"pose/fresh", "age_s", 4, 10}, {"pose/sharp", "sigma_deg", 0.6, 1.2}, {"belief/agrees", "sky_deg", 1, 3}, {"end/bounded", "spread_deg", 2, 5},
		{"sky/floor", "altitude_deg", -3, 5}, {"sun/apart", "separation_deg", 30, 50}, {"track/fits", "spare_s", 60, 600}, {"mount/map", "axis_deg", 0.2, 0.5},
		{"sync/expected", "first_arcmin", 60, 180}, {"sync/jump", "axis_deg", 1, 3}, {"time/agree", "skew_s", 2, 5}, {"solve/quality", "matched", 12, 20},
		{"sky/horizon", "above_deg", 0, 5}, {"rig/proven", "age_days", 100, 365}, {"sync/rate", "per_10min", 2, 6}, {"asker/fallback", "unstopped_spare_s", 600, 1200},
	} {
		if d.coin(3) {
			v := d.within(l.low, l.high)
			if l.name == "matched" || l.name == "per_10min" {
				v = math.Round(v)
			}
			d.limits[l.rule+" "+l.name] = v
			d.line("  %s: {%s: %v}", l.rule, l.name, v)
		}
	}
	if d.coin(2) {
		part, general := d.within(10, 25), d.within(10, 20)
		d.limits["clear/path part_mm"], d.limits["clear/path general_mm"] = part, general
		d.line("  clear/path: {part_mm: %v, general_mm: %v}", part, general)
	}
}
