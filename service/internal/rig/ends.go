package rig

import (
	"errors"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// ErrUnbounded is the class of ends that cannot be bounded: the motion is a hold.
var ErrUnbounded = errors.New("the end of the motion cannot be bounded")

// MountSky is what a mount's own map from sky to axes goes by at one instant.
type MountSky struct {
	Sidereal unit.Angle                           // its local apparent sidereal time
	Lat      unit.Angle                           // its latitude
	Lift     func(altitude unit.Angle) unit.Angle // true altitude to observed, for a map that refracts; nil: none
	Sink     func(altitude unit.Angle) unit.Angle // the inverse of Lift
}

// Map returns the axis angles that the mount's own map gives a position of date on one side, each in [-180°, 180°) or as Ideal
// has it: lift them afterwards. It is the mount as its maker meant it: no polar error, no cone.
func (r *Rig) Map(m MountSky, ra, dec unit.Angle, side Side) Axes {
	h := (m.Sidereal - ra).Wrapped()
	lon, height := h, dec
	if r.Mount.Refracts && m.Lift != nil || r.Kind == AltAzimuth {
		v := frame.SiteFromHour[frame.Rig](m.Lat).Apply(frame.FromHour(h, dec))
		az, alt := frame.AzAlt(v)
		if r.Mount.Refracts && m.Lift != nil {
			alt = m.Lift(alt)
		}
		lon, height = az, alt
		if r.Kind.Equatorial() {
			lon, height = frame.HourDec(frame.SiteFromHour[frame.Rig](m.Lat).Inverse().Apply(frame.Horizon[frame.Rig](az, alt)))
		}
	}
	return r.Kind.Ideal(lon, height, r.Site.Lat, side)
}

// Unmap is the inverse of Map: right ascension [0°, 360°) and declination of date, and the side.
func (r *Rig) Unmap(m MountSky, a Axes) (ra, dec unit.Angle, side Side) {
	lon, height, side := r.Kind.FromIdeal(a, r.Site.Lat)
	if r.Mount.Refracts && m.Sink != nil || r.Kind == AltAzimuth {
		toHour := frame.SiteFromHour[frame.Rig](m.Lat).Inverse()
		az, alt := lon, height
		if r.Kind.Equatorial() {
			az, alt = frame.AzAlt(frame.SiteFromHour[frame.Rig](m.Lat).Apply(frame.FromHour(lon, height)))
		}
		if r.Mount.Refracts && m.Sink != nil {
			alt = m.Sink(alt)
		}
		lon, height = frame.HourDec(toHour.Apply(frame.Horizon[frame.Rig](az, alt)))
	}
	return (m.Sidereal - lon).Positive(), height, side
}

// LiftNear returns a with each angle on the turn nearest to p.
func LiftNear(a, p Axes) Axes { return Axes{a.A1.Near(p.A1), a.A2.Near(p.A2)} }

// Nearest returns M of a position of date on the side, and on the turn, nearest to a pose, the larger of the two angles counting; of equals
// the pose's own side. Near the end of axis 1 a belief that is off by little may lie on the other side than the pose.
func (r *Rig) Nearest(m MountSky, ra, dec unit.Angle, p Axes) (Axes, Side) {
	side := r.Kind.SideOf(p)
	own := LiftNear(r.Map(m, ra, dec, side), p)
	other := LiftNear(r.Map(m, ra, dec, side.Other()), p)
	if other.Sub(p).Abs().Max() < own.Sub(p).Abs().Max() {
		return other, side.Other()
	}
	return own, side
}

// Lifts returns the unreduced poses that stand for a, seen from p, by the declared way round: the turn within travel nearest to
// p (within travel), the nearest turn whatever the travel (shortest), or every turn within travel (unknown). Where no turn lies
// within travel it is the one nearest to the middle of travel, and travel will refuse it.
func (r *Rig) Lifts(a, p Axes) []Axes { return r.LiftsAround(a, p, Axes{}) }

// LiftsAround is Lifts from somewhere within by of p on each axis: where another turn is nearest from some of those, it counts too. The
// first is the one from p.
func (r *Rig) LiftsAround(a, p, by Axes) []Axes {
	ones := r.turns(a.A1, p.A1, by.A1, r.Travel.Low.A1, r.Travel.High.A1)
	twos := r.turns(a.A2, p.A2, by.A2, r.Travel.Low.A2, r.Travel.High.A2)
	var out []Axes
	for _, a1 := range ones {
		for _, a2 := range twos {
			out = append(out, Axes{a1, a2})
		}
	}
	return out
}

// turns lifts one angle; see LiftsAround.
func (r *Rig) turns(a, near, by, low, high unit.Angle) []unit.Angle {
	if r.Motion.Way == Shortest {
		x := a.Near(near)
		return nearestOf([]unit.Angle{x, x - unit.Turn, x + unit.Turn}, near, by)
	}
	out := r.turnsWithin(a, near, by, low, high)
	if slack := min(by, turnSlack); slack > 0 && high-low > unit.Turn-turnSlack*2 {
		// By its own map the mount may find a turn beyond the end of travel that lies within it, or the other way round.
		for _, l := range []unit.Angle{low - slack, low + slack} {
			for _, h := range []unit.Angle{high - slack, high + slack} {
				for _, x := range r.turnsWithin(a, near, by, l, h) {
					if !slices.ContainsFunc(out, func(y unit.Angle) bool { return (x - y).Abs() < unit.HalfTurn }) {
						out = append(out, x)
					}
				}
			}
		}
	}
	return out
}

// turnsWithin lifts one angle of a mount that never turns out of travel.
func (r *Rig) turnsWithin(a, near, by, low, high unit.Angle) []unit.Angle {
	var within []unit.Angle
	first := a + unit.Turn*unit.Angle(math.Ceil(float64((low-a)/unit.Turn)-1e-12))
	for x := first; x <= high+1e-12; x += unit.Turn {
		within = append(within, x)
	}
	if len(within) == 0 {
		return []unit.Angle{a.Near((low + high) / 2)}
	}
	if r.Motion.Way == WayUnknown {
		return within
	}
	return nearestOf(within, near, by)
}

// nearestOf returns which of some angles is nearest to a place, and behind it those that are so from a place within by of that.
//
// Derived: two distances from a place that moves by b change against each other by no more than 2b.
func nearestOf(all []unit.Angle, near, by unit.Angle) []unit.Angle {
	best := all[0]
	for _, x := range all[1:] {
		if (x - near).Abs() < (best - near).Abs() {
			best = x
		}
	}
	out := []unit.Angle{best}
	for _, x := range all {
		if x != best && (x-near).Abs()-(best-near).Abs() < 2*by {
			out = append(out, x)
		}
	}
	return out
}

// End is one place where a motion may come to rest (or from which it tracks on).
type End struct {
	Axes     Axes `json:"axes"`
	Side     Side `json:"side"`
	From     int  `json:"from"` // the candidate pose it starts from
	Intended bool `json:"intended,omitempty"`
	// Aimed: it is where the target is, and not where the mount goes by what it believes.
	Aimed   bool   `json:"aimed,omitempty"`
	Because string `json:"because"`
	// Shift is pose less belief of a mount that goes by its counters: the poses that it always goes by stand off by as much.
	Shift Axes `json:"shift,omitzero"`
}

// Going is what decides where a slew by sky ends: everything as known, empty or nil where not.
type Going struct {
	Poses       []Axes     // the candidate poses, likeliest first
	BeliefRA    unit.Angle // of date
	BeliefDec   unit.Angle
	BeliefSides []Side     // the sides that the belief may mean; empty: the one nearest to each pose
	Now, Then   MountSky   // the mount's own, at the sample and on arrival
	OursThen    MountSky   // what is right, on arrival: where the asker means to go
	TargetRA    unit.Angle // of date
	TargetDec   unit.Angle
	Side        Side // asked for; empty: none
	Astray      Axes // how far from the poses, belief with them, the motion may begin, each way
	// BeliefAxes is where the counters of the mount stand, where that is known better than by belief; nil: M(belief) says it.
	BeliefAxes *Axes
	// Synced is by how much syncs moved belief since the homing, right ascension and declination. What belief is off the pose besides may be an offset of the
	// counters, which stand beside the pose since then, also of a mount that keeps its syncs on the sky. nil: the homing set them.
	Synced *[2]unit.Angle
	// Kept is by how much syncs from before the homing may still move belief besides; nil: none do.
	Kept *[2]unit.Angle
}

// turnSlack is how near half a turn a mount may go either way round, beside what its start may be off by: what the angle that it works
// out and ours may differ by. Common practice, no source: that of sideSlack.
const turnSlack = sideSlack

// around is how far off a start may be seen from for the choice of a turn.
func (g *Going) around() Axes { return g.Astray.Add(Axes{turnSlack, turnSlack}) }

// sideSlack is how near the change-over hour angle a mount that chooses by it may go either way: what its clock and ours may differ
// by without being noticed. Common practice, no source.
const sideSlack = 0.5 * unit.Degree

// SidesFor returns the sides on which the mount may arrive, the intended one first, for the hour angles that the target has by the
// mount's own clock (those at the start of the motion and on arrival: which of them it goes by is not known).
func (r *Rig) SidesFor(asked Side, hours ...unit.Angle) []Side {
	both := r.Kind.Sides()
	switch r.Mount.Chooses {
	case AskerChooses:
		if asked != "" {
			return []Side{asked}
		}
	case ByHourAngle:
		if r.Kind != German {
			break
		}
		chosen := r.chosen(hours[0])
		for _, h := range hours[1:] {
			if r.chosen(h) != chosen {
				chosen = ""
			}
		}
		if chosen == "" {
			return withFirst(asked, []Side{West, East})
		}
		return withFirst(asked, []Side{chosen})
	case FirstOnly:
		return withFirst(asked, both[:1])
	case AnySide:
	}
	return withFirst(asked, both[:])
}

// chosen is the side that a German mount chooses by an hour angle, east from the change-over on; empty where it may be either: near
// the change-over, and under the pole, where what it goes by turns from late to early: at hour angle 180°, or as much later as its delay.
func (r *Rig) chosen(hour unit.Angle) Side {
	delay := r.Mount.MeridianDelay
	past, under := (hour - delay).Wrapped(), (hour - unit.HalfTurn).Wrapped()
	switch {
	case past.Abs() < sideSlack, under > min(0, delay)-sideSlack && under < max(0, delay)+sideSlack:
		return ""
	case past > 0:
		return East
	}
	return West
}

// withFirst puts the asked side first, adding it where it is not among those possible.
func withFirst(asked Side, sides []Side) []Side {
	if asked == "" {
		return sides
	}
	out := []Side{asked}
	for _, s := range sides {
		if s != asked {
			out = append(out, s)
		}
	}
	return out
}

// Why a mount may end elsewhere than where it was told to: it keeps its syncs on its axes, or on the sky.
const (
	TurnsByBelief = "the mount turns by what it believes is missing"
	LessOffset    = "the mount takes its sync off the target on the sky"
	LessSyncs     = "the mount takes its syncs since the homing off the target on the sky, and its counters stand beside the pose"
)

// Ends returns every place where a slew to a sky position may end: first, from each candidate pose, the intended end (where the
// target really is), then what the mount's own belief makes of it. An offset of the counters ends at p + (t - b); an offset on
// the sky at the map of the target less that offset; where the keeping is not known both count.
func (r *Rig) Ends(g Going) ([]End, error) {
	if r.Mount.Sync == KeptInModel {
		return nil, ErrUnbounded
	}
	var out []End
	add := func(e End) {
		for i := range out {
			o := &out[i]
			if o.From == e.From && max(o.Axes.Sub(e.Axes).Abs().Max(), o.Shift.Sub(e.Shift).Abs().Max()) < 1e-9 {
				o.Aimed = o.Aimed && e.Aimed
				return
			}
		}
		out = append(out, e)
	}
	sides := r.SidesFor(g.Side, r.hours(g)...)
	for i, p := range g.Poses {
		for _, side := range sides {
			for _, t := range r.LiftsAround(r.Map(g.OursThen, g.TargetRA, g.TargetDec, side), p, g.around()) {
				add(End{Axes: t, Side: side, From: i, Intended: true, Aimed: true, Because: "the target"})
			}
		}
	}
	for i, p := range g.Poses {
		for _, side := range sides {
			r.believedEnds(g, i, p, side, add)
		}
	}
	return out, nil
}

// hours are the hour angles by which the mount may choose a side: the target's, now and on arrival; and, where it keeps its syncs on the
// sky, those of the target less its offset: which of the two it goes by is not known.
func (r *Rig) hours(g Going) []unit.Angle {
	out := []unit.Angle{g.Now.Sidereal - g.TargetRA, g.Then.Sidereal - g.TargetRA}
	if !r.Mount.Sync.MaybeOnSky() {
		return out
	}
	for _, p := range g.Poses {
		for _, to := range r.lessOffset(g, p) {
			out = append(out, g.Now.Sidereal-to[0], g.Then.Sidereal-to[0])
		}
	}
	for _, by := range g.syncs() {
		to := less(by, g.TargetRA, g.TargetDec)
		out = append(out, g.Now.Sidereal-to[0], g.Then.Sidereal-to[0])
	}
	return out
}

// syncs is by how much syncs may have moved belief, right ascension and declination: since the homing, and with those that the mount may have kept
// from before. None where the homing set the counters.
func (g *Going) syncs() (out [][2]unit.Angle) {
	if g.Synced == nil {
		return nil
	}
	out = append(out, *g.Synced)
	if k := g.Kept; k != nil {
		out = append(out, [2]unit.Angle{g.Synced[0] + k[0], g.Synced[1] + k[1]})
	}
	return out
}

// less is a place on the sky less what syncs moved belief by.
func less(by [2]unit.Angle, ra, dec unit.Angle) [2]unit.Angle {
	return onSphere(ra-by[0], dec-by[1])
}

// onSphere brings a declination that was carried over a pole back, half a turn round.
func onSphere(ra, dec unit.Angle) [2]unit.Angle {
	if dec.Abs() > unit.HalfTurn/2 {
		ra, dec = ra+unit.HalfTurn, overPole(dec)
	}
	return [2]unit.Angle{ra, dec}
}

// lessOffset is the target less the offset on the sky that belief shows of a pose, right ascension and declination. Where belief may mean
// either side it may have been taken over the pole by that offset, and is then told half a turn round: both readings count.
func (r *Rig) lessOffset(g Going, p Axes) [][2]unit.Angle {
	ra, dec, _ := r.Unmap(g.Now, p)
	off := func(bRA, bDec unit.Angle) [2]unit.Angle {
		return less([2]unit.Angle{bRA - ra, bDec - dec}, g.TargetRA, g.TargetDec)
	}
	out := [][2]unit.Angle{off(g.BeliefRA, g.BeliefDec)}
	if len(g.BeliefSides) > 1 {
		out = append(out, off(g.BeliefRA+unit.HalfTurn, overPole(g.BeliefDec)))
	}
	return out
}

// overPole is a declination counted on over the nearer pole: 88° is 92° on the other side of it.
func overPole(dec unit.Angle) unit.Angle {
	return unit.Angle(math.Copysign(math.Pi, float64(dec))) - dec
}

// believedEnds adds the ends that the mount's belief makes of one candidate pose and side.
func (r *Rig) believedEnds(g Going, i int, p Axes, side Side, add func(End)) {
	onAxes := r.Mount.Sync == KeptOnAxes || r.Mount.Sync == NotKept || r.Mount.Sync == KeptUnknown
	sides := g.BeliefSides
	if len(sides) == 0 {
		_, near := r.Nearest(g.Now, g.BeliefRA, g.BeliefDec, p)
		sides = []Side{near}
	}
	for _, bside := range sides {
		b := LiftNear(r.Map(g.Now, g.BeliefRA, g.BeliefDec, bside), p)
		if g.BeliefAxes != nil {
			b = *g.BeliefAxes
		}
		for _, t := range r.LiftsAround(r.Map(g.Then, g.TargetRA, g.TargetDec, side), b, g.around()) {
			if onAxes {
				add(End{Axes: p.Add(t.Sub(b)), Side: side, From: i, Because: TurnsByBelief, Shift: p.Sub(b)})
			}
		}
	}
	if r.Mount.Sync.MaybeOnSky() {
		for _, to := range r.lessOffset(g, p) {
			for _, t := range r.LiftsAround(r.Map(g.Then, to[0], to[1], side), p, g.around()) {
				add(End{Axes: t, Side: side, From: i, Because: LessOffset})
			}
		}
		for _, by := range g.syncs() {
			r.syncedEnds(g, by, i, p, side, add)
		}
	}
}

// syncedEnds adds the ends of a mount that takes its syncs off the target on the sky, and whose counters stand where belief less
// those has them.
func (r *Rig) syncedEnds(g Going, by [2]unit.Angle, i int, p Axes, side Side, add func(End)) {
	to := less(by, g.TargetRA, g.TargetDec)
	for _, c := range r.counters(g, by, p) {
		for _, t := range r.LiftsAround(r.Map(g.Then, to[0], to[1], side), c, g.around()) {
			add(End{Axes: p.Add(t.Sub(c)), Side: side, From: i, Because: LessSyncs, Shift: p.Sub(c)})
		}
	}
}

// Counters are where the counters of a mount that keeps its syncs on the sky may stand, the axes being at a pose: where belief less the syncs since the
// homing has them, on the side that it means, and less those that it may have kept from before. Requires Synced.
func (r *Rig) Counters(g Going, p Axes) (out []Axes) {
	for _, by := range g.syncs() {
		out = append(out, r.counters(g, by, p)[0])
	}
	return out
}

// counters are where they may stand by what syncs moved belief by, on each side that it may mean.
func (r *Rig) counters(g Going, by [2]unit.Angle, p Axes) []Axes {
	at := less(by, g.BeliefRA, g.BeliefDec)
	sides := g.BeliefSides
	if len(sides) == 0 {
		_, near := r.Nearest(g.Now, at[0], at[1], p)
		sides = []Side{near}
	}
	var out []Axes
	for _, side := range sides {
		out = append(out, LiftNear(r.Map(g.Now, at[0], at[1], side), p))
	}
	return out
}

// Rest returns a place of rest by name; an empty name is the only one there is.
func (r *Rig) Rest(name string) (Rest, bool) {
	if name == "" && len(r.Rests) == 1 {
		return r.Rests[0], true
	}
	for _, p := range r.Rests {
		if p.Name == name && name != "" {
			return p, true
		}
	}
	return Rest{}, false
}

// Air returns the air at the site: as the file says, else the standard atmosphere at its height.
func (r *Rig) Air() sky.Air {
	if r.Site.PressureHPa > 0 {
		if a, err := sky.NewAir(sky.Weather{PressureHPa: r.Site.PressureHPa, TemperatureC: r.Site.TemperatureC, Humidity: 0.5}); err == nil {
			return a
		}
	}
	return sky.StandardAir(r.Site.HeightM)
}

// Pole returns the direction of the north celestial pole, by the site's latitude.
func (r *Rig) Pole() frame.Vec[frame.Rig] {
	return frame.Horizon[frame.Rig](0, r.Site.Lat)
}

// OpticsNamed returns one of the rig's optics; an empty name is the only one there is.
func (r *Rig) OpticsNamed(name string) (Optics, bool) {
	if name == "" && len(r.Optics) == 1 {
		return r.Optics[0], true
	}
	for _, o := range r.Optics {
		if o.Name == name && name != "" {
			return o, true
		}
	}
	return Optics{}, false
}
