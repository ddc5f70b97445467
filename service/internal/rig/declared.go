package rig

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/unit"
)

// What is not stated here is taken at its most careful: a sync kept in an unknown way, a side that the mount chooses, any
// order of the axes, any way round.

func readMotion(r *reader) Motion {
	m := Motion{
		Sharing: Sharing(r.wordOr("axes_move", string(AnyOrder), string(Straight), string(Independent), string(Axis1First), string(Axis2First))),
		Way:     WayRound(r.wordOr("way_round", string(WayUnknown), string(WithinTravel), string(Shortest))),
	}
	m.RateDeg = twoNumbers(r, "rate_deg_per_s", aRate)
	m.AccelDeg = twoNumbers(r, "acceleration_deg_per_s2", anAccel)
	m.Overrun = r.axes("overrun_deg", anOverrun)
	m.Via = readPoses(r, "goes_by_deg")
	m.FlipVia = readPoses(r, "flips_by_deg")
	r.close()
	return m
}

func twoNumbers(r *reader, key string, s span) (out [2]float64) {
	n := r.needs(key, s.times(2), "axis 1 first, then axis 2")
	if v := r.numbers(n, r.key(key), s, 2); v != nil {
		out = [2]float64(v)
	}
	return out
}

func readPoses(r *reader, key string) []Axes {
	var out []Axes
	for i, n := range r.list(key, 20) {
		out = append(out, pose(r.numbers(n, r.item(key, i), aPose, 2)))
	}
	return out
}

func readMount(r *reader, k Kind) Mount {
	m := Mount{
		Sync:            SyncKeeping(r.wordOr("keeps_sync_on", string(KeptUnknown), string(KeptOnAxes), string(KeptOnSky), string(KeptInModel), string(NotKept))),
		Chooses:         readSideChoice(r, k),
		SideSensed:      r.yesOr("side_is_sensed", false),
		Refracts:        r.yesOr("map_includes_refraction", false),
		TellsSidereal:   r.yesOr("tells_sidereal_time", true),
		TellsSite:       r.yesOr("tells_site", true),
		CountsSyncs:     r.yesOr("counts_syncs", false),
		NobodyElseSyncs: r.yesOr("nobody_else_syncs", false),
		RunMark:         r.yesOr("tells_restarts", false),
		HoldsUnpowered:  r.yesOr("holds_unpowered", false),
	}
	m.MeridianDelay = unit.Deg(r.numberOr("changes_side_at_deg", aDelay, 0))
	if m.FlipsItself = r.yes("flips_while_tracking"); m.FlipsItself {
		m.FlipAt = unit.Deg(r.number("flips_at_deg", aDelay))
	} else if r.has("flips_at_deg") {
		r.f.add(r.peek("flips_at_deg"), r.key("flips_at_deg"), "flips_while_tracking: yes beside it", "no", "take one of the two away")
	}
	r.close()
	return m
}

// readSideChoice reads who chooses the side. The form leaves it to be chosen: a line left empty is told what there is to choose.
func readSideChoice(r *reader, k Kind) SideChoice {
	words := []string{string(AnySide), string(ByHourAngle), string(AskerChooses), string(FirstOnly)}
	if n := r.peek("side_chosen_by"); n != nil && n.kind == nothing {
		choices := sideChoices(k)
		wanted := words[1:]
		if k == German {
			wanted = words[1:3]
		}
		r.f.add(n, r.key("side_chosen_by"), oneOf(append(wanted[:len(wanted):len(wanted)], words[0])), "nothing", strings.Join(choices, "; "))
		return ""
	}
	return SideChoice(r.wordOr("side_chosen_by", words...))
}

var sourceWords = []string{string(AxisEncoder), string(MotorCount), string(UnsyncedBelief), string(Reckoned)}

// readSources reads the pose sources and puts them best first.
func readSources(r *reader, m Mount) []Source {
	var out []Source
	for i, n := range r.list("pose_sources", len(sourceWords)) {
		b := r.blockOf(n, r.item("pose_sources", i))
		s := readSource(b, m)
		if slices.ContainsFunc(out, func(o Source) bool { return o.Kind == s.Kind && s.Kind != "" }) {
			b.f.add(n, b.key("kind"), "each source once", "a second "+string(s.Kind), "take one away")
		}
		out = append(out, s)
	}
	rank := func(s Source) int { return slices.Index(sourceWords, string(s.Kind)) }
	slices.SortStableFunc(out, func(a, b Source) int { return rank(a) - rank(b) })
	return out
}

func readSource(b *reader, m Mount) Source {
	s := Source{Kind: SourceKind(b.word("kind", sourceWords...))}
	s.Sigma = b.axes("sigma_deg", aSigma)
	s.MotorSide = b.wordOr("clutch_side", "motor", "axis") == "motor"
	if s.Kind == AxisEncoder {
		if b.has("clutch_side") && s.MotorSide {
			b.f.add(b.peek("clutch_side"), b.key("clutch_side"), "axis, for an encoder that sits on the axis", `"motor"`, "if it sits on the motor, its kind is motor count")
		}
		s.MotorSide = false
	}
	if s.Kind == UnsyncedBelief && (m.Sync == KeptInModel || !m.NobodyElseSyncs && !m.CountsSyncs) {
		b.f.add(b.at, b.key("kind"), "unsynced belief only from a mount without an internal model, which nobody else syncs or which counts its syncs",
			"neither stated", "state nobody_else_syncs or counts_syncs under mount, or use reckoned")
	}
	b.close()
	return s
}

// attestedSigma is the uncertainty of a pose stated by a person at marks, one standard deviation: ±3° is 3σ. Choice of the
// design, common practice, no source.
const attestedSigma = 1

func readHoming(r *reader) Homing {
	h := Homing{
		By:     HomingKind(r.word("by", string(BySensor), string(ByPerson), string(ByBelief))),
		Order:  Sharing(r.wordOr("axes_move", string(AnyOrder), string(Straight), string(Independent), string(Axis1First), string(Axis2First))),
		Search: r.axesOr("search_deg", anOverrun, Axes{}),
		Sigma:  DegAxes(attestedSigma, attestedSigma),
	}
	if h.By == BySensor {
		h.Sigma = r.axes("sigma_deg", aSigma)
	} else {
		h.Sigma = r.attested(r.axesOr("sigma_deg", aSigma, h.Sigma))
	}
	r.close()
	return h
}

// attested is how sure a home is that a person sees: as the file has it, but no file makes an eye better than attestedSigma; who saw it may state
// more with each homing.
func (r *reader) attested(sigma Axes) Axes {
	least := DegAxes(attestedSigma, attestedSigma)
	if n := r.peek("sigma_deg"); n != nil && (sigma.A1 > 0 && sigma.A1 < least.A1 || sigma.A2 > 0 && sigma.A2 < least.A2) {
		r.f.notice(Unused, n, r.key("sigma_deg"), "1 or more, for a home that a person sees", short(sigma.A1.Deg())+" and "+short(sigma.A2.Deg()),
			"less than 1 is not used, since no file knows how well somebody will look: whoever sees it more exactly states so with each homing (tell … homed --sigma), or the rig is homed by a sensor")
	}
	return Axes{max(sigma.A1, least.A1), max(sigma.A2, least.A2)}
}

func readFallback(r *reader) Fallback {
	s := Fallback{Kind: FallbackKind(r.word("stops_it", string(NothingStops), string(MotionEnds), string(MountLimit), string(PowerRelay)))}
	switch s.Kind {
	case MountLimit:
		s.Axis = 1
		if r.word("axis", "1", "2") == "2" {
			s.Axis = 2
		}
		s.Limit = unit.Deg(r.number("limit_deg", aPose))
		if n := r.take("last_seen"); n != nil {
			s.Seen = readDay(r, n)
		}
	case PowerRelay:
		s.AfterS = r.number("after_s", aSilence)
	case NothingStops, MotionEnds:
	}
	r.close()
	return s
}

func readDay(r *reader, n *node) time.Time {
	day, err := time.Parse(time.DateOnly, n.text)
	if err != nil || n.kind != scalar || day.Year() < 1990 || day.Year() > 2200 {
		r.f.add(n, r.key("last_seen"), "a day, as 2026-11-25", n.says(), "year, month, day")
	}
	return day
}

func readOptics(r *reader) Optics {
	o := Optics{
		Name:        r.name("name"),
		East:        unit.Deg(r.numberOr("boresight_east_deg", aBoresight, 0)),
		North:       unit.Deg(r.numberOr("boresight_north_deg", aBoresight, 0)),
		PixelArcsec: r.optional("pixel_arcsec", aPixel),
		WidthDeg:    r.optional("field_long_deg", aField),
		HeightDeg:   r.optional("field_short_deg", aField),
		PixelUM:     r.optional("pixel_um", aPixelSize),
	}
	if v := r.optional("camera_angle_deg", aTurn); v != nil {
		a := unit.Deg(*v)
		o.CameraAngle = &a
	}
	if r.has("mirrored") {
		v := r.yes("mirrored")
		o.Mirrored = &v
	}
	if o.WidthDeg != nil && o.HeightDeg != nil && *o.HeightDeg > *o.WidthDeg {
		r.f.add(r.peek("field_short_deg"), r.key("field_short_deg"), "the short side, at most field_long_deg "+short(*o.WidthDeg), short(*o.HeightDeg), "exchange them")
	}
	r.close()
	return o
}

// readWords reads a list of words, each of a few and once.
func readWords(r *reader, key string, words ...string) []string {
	var out []string
	for i, n := range r.list(key, len(words)) {
		w := r.wordOf(n, r.item(key, i), words)
		if w != "" && slices.Contains(out, w) {
			r.f.add(n, r.item(key, i), "each word once", quote(w)+" again", "take one away")
		}
		out = append(out, w)
	}
	return out
}

func readSolver(r *reader) SolverFigures {
	lacks := readWords(r, "solver_lacks", "scale", "rotation", "mirror", "matched", "residual", "radius")
	has := func(w string) bool { return slices.Contains(lacks, w) }
	return SolverFigures{has("scale"), has("rotation"), has("mirror"), has("matched"), has("residual"), has("radius")}
}

// readLimits reads the limits that a file sets. Their names, directions and bounds are judged where limits are merged.
func readLimits(r *reader) []Limit {
	var out []Limit
	b, _ := r.block("limits")
	if b.at == nil {
		return nil
	}
	for _, rule := range b.at.entries {
		if rule.key == "travel/axis1" || rule.key == "travel/axis2" {
			b.f.add(rule.place, b.key(rule.key), "travel_from_home, which makes these limits", quote(rule.key), "state it there alone")
			continue
		}
		names := b.blockOf(b.take(rule.key), b.key(rule.key))
		if names.at == nil {
			continue
		}
		for _, e := range names.at.entries {
			n := names.needs(e.key, aSetLimit.String, "write the number alone")
			if n == nil {
				continue
			}
			out = append(out, Limit{Rule: rule.key, Name: e.key, Value: names.numberOf(n, names.key(e.key), aSetLimit), File: n.file, Line: n.line})
		}
	}
	return out
}

func readSkyline(r *reader) []Skyline {
	var out []Skyline
	for i, n := range r.list("horizon_deg", 720) {
		key := r.item("horizon_deg", i)
		if n.kind != list || len(n.items) != 2 {
			r.f.add(n, key, "a list of 2: azimuth, altitude", n.says(), "as [90, 12]")
			continue
		}
		p := Skyline{unit.Deg(r.numberOf(n.items[0], join(key, "1"), anAzimuth)), unit.Deg(r.numberOf(n.items[1], join(key, "2"), anAltitude))}
		if len(out) > 0 && p.Az <= out[len(out)-1].Az {
			r.f.add(n, key, "azimuths that grow from point to point", short(p.Az.Deg())+" after "+short(out[len(out)-1].Az.Deg()), "sort them; "+strconv.Itoa(i)+" points stand before it")
		}
		out = append(out, p)
	}
	return out
}
