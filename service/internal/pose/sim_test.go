package pose

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// The rigs, nights and figures in these tests are invented.

var dusk = time.Date(2026, 11, 14, 18, 0, 0, 250e6, time.UTC)

// moment is the sky by the built-in tables.
func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// newRig describes a simulated rig: belief only, nobody else syncs, syncs kept on the axes, side sensed.
func newRig(k rig.Kind, latDeg float64) *rig.Rig {
	r := &rig.Rig{ID: "heron", Kind: k, Site: rig.Site{Lat: unit.Deg(latDeg), Lon: unit.Deg(11)}}
	r.Chain = rig.NewChain(k, r.Site.Lat, rig.Tilt{}, frame.Vec[frame.Rig]{Z: 1200}, 0)
	r.Travel = rig.Travel{Low: rig.DegAxes(-170, -170), High: rig.DegAxes(170, 170)}
	r.Motion = rig.Motion{Sharing: rig.Independent, RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{5, 5}, Way: rig.WithinTravel}
	r.Mount = rig.Mount{Sync: rig.KeptOnAxes, Chooses: rig.AskerChooses, SideSensed: true, NobodyElseSyncs: true, HoldsUnpowered: true, TellsSidereal: true}
	r.Homing = rig.Homing{By: rig.BySensor, Sigma: rig.DegAxes(0.3, 0.3)}
	r.Sources = []rig.Source{{Kind: rig.UnsyncedBelief, Sigma: rig.DegAxes(0.05, 0.05)}}
	switch k {
	case rig.German:
		r.Mount.Chooses = rig.ByHourAngle
	case rig.Fork:
		r.Home = rig.DegAxes(0, 0)
	case rig.AltAzimuth:
		r.Home = rig.DegAxes(0, 10)
		r.Travel = rig.Travel{Low: rig.DegAxes(-270, -20), High: rig.DegAxes(270, 200)}
	}
	return r
}

// mount is a simulated mount: counters that differ from the axes by what homing was off, and a belief that syncs move.
type mount struct {
	r     *rig.Rig
	at    time.Time
	axes  rig.Axes // where they are
	fault rig.Axes // axes less counters: the error of homing
	keep  rig.SyncKeeping
	off   rig.Axes      // syncs kept on the axes
	sky   [2]unit.Angle // syncs kept on the sky
	doing question.Doing
	syncs uint32
	reads bool // it tells the side of its counters, though its file does not say so
}

func (m *mount) lst() rig.MountSky {
	s, err := moment(m.at)
	if err != nil {
		panic(err)
	}
	return rig.MountSky{Sidereal: s.SiderealTime(m.r.Site.Lon), Lat: m.r.Site.Lat}
}

// wait lets time pass, tracking if it tracks.
func (m *mount) wait(d time.Duration) {
	if m.doing == question.Tracking {
		t := begin(World{Rig: m.r, Moment: moment}, question.RigState{})
		m.axes = m.axes.Add(t.follow(m.axes, m.at, m.at.Add(d)))
	}
	m.at = m.at.Add(d)
}

func (m *mount) counters() rig.Axes { return m.axes.Sub(m.fault).Add(m.off) }

func (m *mount) belief() question.Belief {
	ra, dec, side := m.r.Unmap(m.lst(), m.counters())
	ra, dec = ra+m.sky[0], dec+m.sky[1]
	if dec.Abs() > unit.HalfTurn/2 {
		ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
	}
	if !m.r.Mount.SideSensed && !m.reads {
		side = m.inferred(ra)
	}
	return question.Belief{Sky: question.Sky{RA: ra.Positive(), Dec: dec, Frame: question.OfDate}, Side: side}
}

// inferred is the side that a mount works out from its hour angle.
func (m *mount) inferred(ra unit.Angle) rig.Side {
	if m.r.Kind != rig.German {
		return rig.First
	}
	if (m.lst().Sidereal - ra).Wrapped() >= 0 {
		return rig.East
	}
	return rig.West
}

// sync makes the mount believe a position of date.
func (m *mount) sync(ra, dec unit.Angle) {
	m.syncs++
	b := m.belief()
	if m.keep == rig.KeptOnSky {
		m.sky = [2]unit.Angle{m.sky[0] + (ra - b.Sky.RA).Wrapped(), m.sky[1] + dec - b.Sky.Dec}
		return
	}
	side := m.r.Kind.SideOf(m.counters())
	to := rig.LiftNear(m.r.Map(m.lst(), ra, dec, side), m.counters())
	m.off = m.off.Add(to.Sub(m.counters()))
}

// goal is where the axes go when told to slew.
func (m *mount) goal(ra, dec unit.Angle, side rig.Side, arrive time.Time) rig.Axes {
	then := *m
	then.at = arrive
	if m.keep == rig.KeptOnSky {
		ra, dec = ra-m.sky[0], dec-m.sky[1]
		if dec.Abs() > unit.HalfTurn/2 {
			ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
		}
	}
	t := m.r.Lifts(m.r.Map(then.lst(), ra, dec, side), m.counters())[0]
	return m.axes.Add(t.Sub(m.counters()))
}

// seconds to turn from a to b.
func (m *mount) takes(a, b rig.Axes) float64 {
	d := b.Sub(a).Abs()
	return max(d.A1.Deg()/m.r.Motion.RateDeg[0], d.A2.Deg()/m.r.Motion.RateDeg[1])
}

func (m *mount) sample() question.Sample {
	b, lst := m.belief(), m.lst().Sidereal
	x := question.Sample{Time: m.at, Received: m.at.Add(100 * time.Millisecond), Asker: "sim", Belief: &b, Doing: m.doing, Sidereal: &lst}
	if m.r.Kind == rig.AltAzimuth { // by belief alone its turns are told only by a map whose place is told too
		x.Site = &question.Place{Lat: m.r.Site.Lat, Lon: m.r.Site.Lon}
	}
	for _, s := range m.r.Sources {
		if s.Kind == rig.AxisEncoder || s.Kind == rig.MotorCount {
			x.Readings = append(x.Readings, question.Reading{Source: s.Kind, Axes: m.axes.Sub(m.fault)})
		}
	}
	if m.r.Mount.CountsSyncs {
		n := m.syncs
		x.SyncCount = &n
	}
	return x
}

// night is a simulated rig and what the room makes of it.
type night struct {
	t     testing.TB
	w     World
	m     *mount
	s     question.RigState
	notes []Notice
	every time.Duration // between samples of a motion; 0: none
	n     int
	loose bool // the room need not hold the truth
}

func newNight(t testing.TB, r *rig.Rig) *night {
	n := &night{t: t, w: World{Rig: r, Moment: moment}, m: &mount{r: r, at: dusk, axes: r.Home, keep: r.Mount.Sync, doing: question.AtRest}, every: 1500 * time.Millisecond}
	if n.m.keep == rig.KeptUnknown {
		n.m.keep = rig.KeptOnAxes
	}
	return n
}

func (n *night) take(s question.RigState, notes []Notice) {
	n.s = s
	n.notes = append(n.notes, notes...)
}

func (n *night) look() {
	n.t.Helper()
	n.take(Observe(n.w, n.s, n.m.sample()))
	n.honest()
}

// honest checks the room's promise: where the axes are is one of the places it holds, within three sigma.
func (n *night) honest() {
	n.t.Helper()
	if n.loose || n.s.Pose.State == question.Unknown {
		return
	}
	for _, c := range n.s.Pose.Candidates {
		if !beyond(c.Axes.Sub(n.m.axes), question.Sigma3(c.Sigma).Add(rig.DegAxes(0.05, 0.05))) {
			return
		}
	}
	require.Failf(n.t, "the pose held is not where the axes are", "at %s the axes are at %s (%s), held: %+v\n%s", n.m.at, n.m.axes, n.m.doing, n.s.Pose, n.said())
}

func (n *night) said() string {
	var b strings.Builder
	for _, x := range n.notes {
		fmt.Fprintf(&b, "  %s: %s\n", x.Kind, x.Sentence)
	}
	return b.String()
}

// home homes the rig, sensed, at the pose where it is.
func (n *night) home() {
	n.t.Helper()
	x := n.m.sample()
	n.n++
	n.take(Homed(n.w, n.s, question.Homing{ID: fmt.Sprintf("h%d", n.n), At: n.m.at, Sensed: true, Axes: n.m.axes.Sub(n.m.fault), Sigma: n.w.Rig.Homing.Sigma}, &x))
	n.honest()
}

func (n *night) state() question.PoseState { return n.s.Pose.State }

// grant puts a begun permit for a slew in force, as the decider would.
func (n *night) grant(ra, dec unit.Angle, side rig.Side, follow time.Duration) *question.Permit {
	n.n++
	r, x := AsShown(n.w.Rig, n.s), n.m.sample()
	var poses []rig.Axes
	for _, c := range n.s.Pose.Candidates {
		poses = append(poses, c.Axes)
	}
	from := poses[0]
	then := *n.m
	then.at = n.m.at.Add(time.Duration(n.m.takes(n.m.axes, n.m.goal(ra, dec, side, n.m.at)) * float64(time.Second)))
	both := r.Kind.Sides()
	sides := both[:]
	if r.Mount.SideSensed {
		sides = []rig.Side{x.Belief.Side}
	} else if len(poses) > 0 {
		sides = []rig.Side{r.Kind.SideOf(from)}
	}
	ends, err := r.Ends(rig.Going{Poses: poses, BeliefRA: x.Belief.Sky.RA, BeliefDec: x.Belief.Sky.Dec, BeliefSides: sides,
		Now: n.m.lst(), Then: then.lst(), OursThen: then.lst(), TargetRA: ra, TargetDec: dec, Side: side})
	require.NoError(n.t, err)
	at := n.m.at
	p := &question.Permit{ID: fmt.Sprintf("p%d", n.n), Rig: r.ID, State: question.Begun, Asked: at, BegunAt: &at, StartBy: at.Add(10 * time.Second),
		Action: question.Action{Kind: question.Slew, Sky: &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Side: side, Follow: follow},
		From:   from, Sigma: n.s.Pose.Candidates[0].Sigma, Tracks: follow > 0, Epoch: n.s.Epoch + 1}
	for _, e := range ends {
		p.Ends = append(p.Ends, e.Axes)
	}
	for _, e := range p.Ends {
		p.EndS = append(p.EndS, n.m.takes(from, e))
	}
	p.MotionS = slices.Max(p.EndS)
	p.StopBy = then.at.Add(follow + time.Minute)
	if p.Homing = ""; n.s.Homing != nil {
		p.Homing = n.s.Homing.ID
	}
	n.s.Permit, n.s.Epoch = p, n.s.Epoch+1
	return p
}

// run turns the axes to an end, reporting under way, and lets the mount rest or track there.
func (n *night) run(end rig.Axes, after question.Doing) {
	n.t.Helper()
	from, total := n.m.axes, n.m.takes(n.m.axes, end)
	start := n.m.at
	n.m.doing = question.Moving
	rates := n.m.r.Motion.RateDeg
	for step := n.every.Seconds(); n.every > 0 && step < total; step += n.every.Seconds() {
		n.m.at = start.Add(time.Duration(step * float64(time.Second)))
		d := end.Sub(from)
		part := func(a unit.Angle, rate float64) unit.Angle {
			return unit.Angle(math.Copysign(min(float64(a.Abs()), float64(unit.Deg(rate*step))), float64(a)))
		}
		n.m.axes = from.Add(rig.Axes{A1: part(d.A1, rates[0]), A2: part(d.A2, rates[1])})
		n.look()
	}
	n.m.at, n.m.axes, n.m.doing = start.Add(time.Duration(total*float64(time.Second))), end, after
	n.m.wait(500 * time.Millisecond)
	n.look()
}

// slew asks, moves as the mount does, and tracks.
func (n *night) slew(ra, dec unit.Angle, side rig.Side, follow time.Duration) {
	n.t.Helper()
	n.look()
	n.grant(ra, dec, side, follow)
	end := n.m.goal(ra, dec, side, n.m.at)
	end = n.m.goal(ra, dec, side, n.m.at.Add(time.Duration(n.m.takes(n.m.axes, end)*float64(time.Second))))
	after := question.AtRest
	if follow > 0 {
		after = question.Tracking
	}
	n.run(end, after)
}

// target is a position of date at an hour angle and declination, now.
func (n *night) target(hDeg, decDeg float64) (ra, dec unit.Angle) {
	return (n.m.lst().Sidereal - unit.Deg(hDeg)).Positive(), unit.Deg(decDeg)
}

// leave gives leave for a sync to a position of date.
func (n *night) leave(ra, dec unit.Angle) string {
	n.n++
	id := fmt.Sprintf("l%d", n.n)
	n.s.Leave = &question.SyncLeave{ID: id, Rig: n.w.Rig.ID, Live: true, Asked: n.m.at, UseBy: n.m.at.Add(10 * time.Second), Epoch: n.s.Epoch,
		Action: question.Action{Kind: question.Sync, Solve: &question.Solve{Sky: question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}}}}
	return id
}

// syncOff syncs with leave so that belief moves by so much on the sky.
func (n *night) syncOff(dRA, dDec float64) {
	n.t.Helper()
	n.look()
	b := n.m.belief()
	ra, dec := b.Sky.RA+unit.Deg(dRA), min(b.Sky.Dec+unit.Deg(dDec), unit.Deg(89))
	id := n.leave(ra, dec)
	n.m.wait(700 * time.Millisecond)
	n.m.sync(ra, dec)
	n.m.wait(300 * time.Millisecond)
	x := n.m.sample()
	n.take(Synced(n.w, n.s, id, false, &x))
	n.honest()
}

// kinds returns the kinds of the notices so far.
func (n *night) kinds() []Kind {
	var out []Kind
	for _, x := range n.notes {
		out = append(out, x.Kind)
	}
	return out
}

// forget drops the notices so far.
func (n *night) forget() { n.notes = nil }

// sideFor is the side that a mount choosing by hour angle takes.
func sideFor(k rig.Kind, hDeg float64) rig.Side {
	switch {
	case k != rig.German:
		return rig.First
	case hDeg >= 0:
		return rig.East
	}
	return rig.West
}

// reachable draws a target well above the horizon and off the zenith.
func (n *night) reachable(g *rand.Rand) (h, dec float64) {
	lat := n.w.Rig.Site.Lat
	for {
		h, dec = g.Float64()*160-80, g.Float64()*160-80
		_, alt := frame.AzAlt(frame.SiteFromHour[frame.Site](lat).Apply(frame.FromHour(unit.Deg(h), unit.Deg(dec))))
		if alt > unit.Deg(20) && alt < unit.Deg(80) && math.Abs(h) > 3 {
			return h, dec
		}
	}
}
