package facts

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// mountSky fills in what the mount's own map goes by: its sidereal time and site where they are told, ours where the rig file says
// that it tells none and its ends do not depend on them.
//
// An alt-azimuth's do: it turns by the difference of two places of its map, from which a wrong hour angle or latitude does not drop out. Such a
// mount that tells none is not taken to be right. Somebody may tell for it, whatever its file says.
func (in *Input) mountSky(h *heaven, s *stand) {
	ours := h.ours(h.moment)
	s.mount = ours
	if in.Rehearsed {
		return
	}
	st, m := in.Snapshot.Rig, &in.Rig.Mount
	site := in.Rig.Site
	lat, lon := site.Lat, site.Lon
	if st.Site != nil {
		lat, lon = st.Site.Lat, st.Site.Lon
	}
	depends := in.Rig.Kind == rig.AltAzimuth
	var lacks []lack
	sidereal, told := in.siderealTold(h, s)
	s.clock = told
	switch {
	case told:
		s.mount = h.mountSky(sidereal.Positive(), lat)
	case m.TellsSidereal:
		lacks = append(lacks, lack{why: "the mount's sidereal time was not reported"})
	case depends && in.Snapshot.Rig.Ahead != nil:
		lacks = append(lacks, lack{why: "what was told of the mount's sidereal time counts no more: its belief stepped unasked since the homing, as it does where a clock is set", remedy: homeFirst + tellClock + onceHomed})
	case depends:
		lacks = append(lacks, lack{why: "the mount's sidereal time cannot be read, and an alt-azimuth mount's ends depend on it", remedy: tellClock + map[bool]string{true: onceHomed, false: eachTime}[in.Rig.ReadsAxes()]})
	default:
		s.mount = h.mountSky(ours.Sidereal+(lon-site.Lon), lat)
	}
	var sites []lack
	switch {
	case st.Site != nil:
	case m.TellsSite && depends:
		sites = append(sites, lack{why: "the mount's own site was never reported, and an alt-azimuth mount's ends depend on it"})
	case m.TellsSite:
		sites = append(sites, lack{why: "the mount's own site was never reported, and the rig file says that it tells it"})
	case depends:
		sites = append(sites, lack{why: "the mount's own site cannot be read, and an alt-azimuth mount's ends depend on it", remedy: tellSite})
	}
	if depends {
		s.siteLack = joined(sites)
	}
	s.mapLack = joined(append(lacks, sites...))
}

// What to do about an alt-azimuth that tells no clock or no site. By its axes it goes wherever its map leads.
const (
	tellClock = "Tell the sidereal time that the mount itself shows (or the right ascension and the hour angle that it shows, added) as mount_lst_deg in "
	onceHomed = "a sample, once after each homing; never that of another clock."
	eachTime  = "each sample; never that of another clock. Once is not enough: nothing but its belief tells this rig's axes, and that does not show whether its clock was set."
	homeFirst = "See that the mount's clock is right, and home it. "
	tellSite  = "Tell the latitude and longitude that the mount itself shows as mount_site in a sample, once; never those of the rig file."
	byItsAxes = "Without that it may be homed, jogged, and slewed by axes, to a place of rest too."
)

// joined is several lacks as one; nil for none.
func joined(all []lack) *lack {
	if len(all) == 0 {
		return nil
	}
	out := lack{need: "sample"}
	var whys, remedies []string
	for _, l := range all {
		whys = append(whys, l.why)
		if l.remedy != "" {
			remedies = append(remedies, l.remedy)
		}
	}
	out.why = strings.Join(whys, "; ")
	if len(remedies) > 0 {
		out.remedy = strings.Join(append(remedies, byItsAxes), " ")
	}
	return &out
}

// siderealTold is the mount's sidereal time at the instant: as the last sample tells it; of a mount that cannot tell it, as somebody told it
// since the last homing, unless belief stepped unasked since, as it does where a clock is set.
func (in *Input) siderealTold(h *heaven, s *stand) (unit.Angle, bool) {
	st := in.Snapshot.Rig
	if s.sample != nil && s.sample.Sidereal != nil {
		since := in.Snapshot.At.Sub(sampleTime(s.sample, in.Snapshot.At)).Seconds()
		return *s.sample.Sidereal + unit.Angle(since)*question.SiderealRate, true
	}
	unasked := func(p question.Step) bool { return !p.Asked }
	if in.Rig.Kind != rig.AltAzimuth || in.Rig.Mount.TellsSidereal || st.Ahead == nil || slices.ContainsFunc(st.Steps, unasked) {
		return 0, false
	}
	return h.sidereal(h.moment) + *st.Ahead, true
}

// mapError puts the largest of what a wrong sidereal time does to axis 1 of an equatorial (or to either axis of an alt-azimuth) and
// the errors of the mount's latitude and longitude, which its own limits, and its sidereal time when next set, go by.
func (in *Input) mapError(f Set, h *heaven, s *stand) {
	if s.mapLack != nil {
		f.LackFor("mount_map_error_deg", *s.mapLack)
		return
	}
	st := in.Snapshot.Rig
	if !s.clock && st.Site == nil {
		f.Number("mount_map_error_deg", 0, Absent, "this mount tells neither its sidereal time nor its site")
		return
	}
	ours := h.ours(h.moment)
	turn := (s.mount.Sidereal - ours.Sidereal).Wrapped()
	worst, said := turn, []string{fmt.Sprintf("the mount's sidereal time %s, ours %s", hours(s.mount.Sidereal), hours(ours.Sidereal))}
	if like := cmp.Or(likelyUnit(s.mount.Sidereal, ours.Sidereal), likelyClock(turn)); like != "" {
		said = append(said, like)
	}
	if st.Site != nil {
		site := in.Rig.Site
		if d := (st.Site.Lon - site.Lon).Wrapped(); d.Abs() > worst.Abs() || d.Abs() > sameSite && (d-turn).Wrapped().Abs() < sameSite {
			worst, said = d, siteSaid("longitude", st.Site.Lon, site.Lon)
		}
		if d := st.Site.Lat - site.Lat; d.Abs() > worst.Abs() {
			worst, said = d, siteSaid("latitude", st.Site.Lat, site.Lat)
		}
	}
	f.Number("mount_map_error_deg", worst.Abs().Deg(), Computed, said...)
}

// sameSite is how well a place typed by hand agrees with the rig file's: a tenth of a degree. Common practice, no source.
const sameSite = 0.1 * unit.Degree

// siteSaid says what the mount takes for one coordinate of its site, and whether it is ours with the other sign.
func siteSaid(what string, mounts, ours unit.Angle) []string {
	said := []string{fmt.Sprintf("the mount's %s %.2f°, the rig file's %.2f°", what, mounts.Deg(), ours.Deg())}
	if mounts.Abs() > sameSite && (mounts+ours).Abs() < sameSite {
		said = append(said, "looks like the sign of the "+what)
	}
	return said
}

// sameUnit is how well a sidereal time told in another unit agrees with ours, as numbers: of hours three minutes of a clock, as much as the
// clocks of mounts are often off. Choice.
const sameUnit = 0.05

// likelyUnit names the unit other than degrees that the number of a told sidereal time would fit ours in, or nothing.
func likelyUnit(told, ours unit.Angle) string {
	if (told - ours).Wrapped().Abs() < sameUnit*15*unit.Degree {
		return "" // it fits as it is
	}
	number := told.Positive().Deg()
	for _, u := range []struct {
		name string
		size unit.Angle
	}{{"hours", 15 * unit.Degree}, {"radians", 1}} {
		if math.Abs(number-float64(ours.Positive()/u.size)) < sameUnit {
			return "looks like " + u.name + " where degrees are wanted"
		}
	}
	return ""
}

// likelyClock names what an error of the mount's sidereal time looks like, or nothing.
func likelyClock(turn unit.Angle) string {
	for n := 1.0; n <= 12; n++ {
		if d := turn.Abs() - unit.Deg(15.0411*n); d.Abs() < 0.3*unit.Degree {
			hours := fmt.Sprintf("%.0f hours", n)
			if n == 1 {
				hours = "one hour"
			}
			return "looks like " + hours + ": summer time or zone"
		}
	}
	return ""
}

// hours writes an angle as a time of day.
func hours(a unit.Angle) string {
	s := int(a.Positive().Deg()*240 + 0.5)
	return fmt.Sprintf("%02d:%02d:%02d", s/3600%24, s/60%60, s%60)
}
