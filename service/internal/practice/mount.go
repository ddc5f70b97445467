package practice

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// Mount is a simulated mount. It physically moves, by the rates and manner of its rig file; it has a belief that syncs move, a clock and
// a site of its own; and it does what it is told by what it believes, right or wrong. Time comes in with every call and must not run
// backwards. It asks nobody: whether it may move is its user's business. A second program's sync is Sync and a hand controller is Jog,
// with nobody told. Not safe for concurrent use.
type Mount struct {
	rig    *rig.Rig
	moment func(time.Time) (*sky.Moment, error)

	from     rig.Axes // true axes where the present motion began
	began    time.Time
	way      reach.Way
	moving   bool
	tracking bool // follows the sky once the motion is over

	lost     rig.Axes      // true axes less what the counts say: slipped or lost steps
	offset   rig.Axes      // belief less counts, of a mount that keeps syncs on its counters
	sky      [2]unit.Angle // belief less map, right ascension and declination, of one that keeps them on the sky
	syncs    uint32
	restarts int
	sequence uint64

	stuck     [2]bool  // axes that no longer turn
	Boresight rig.Axes // where the camera looks, as a turn of the axes: cone and index together
	Faults
	Errors

	base   *frame.Rot[frame.Rig, frame.Rig] // by which the whole rig was turned over the ground; nil: it was not
	losing rig.Axes                         // steps that the next motion loses, sizes
	short  rig.Axes                         // by how much the present motion ends short of what the counts say
	sense  [2]float64                       // which way each axis last turned: 1, -1, or 0 since homing
	told   []rig.Axes                       // offsets that the last syncs asked for, of a mount that averages them
}

// NewMount makes a mount at rest at home, its belief right.
func NewMount(r *rig.Rig, moment func(time.Time) (*sky.Moment, error), at time.Time) *Mount {
	return &Mount{rig: r, moment: moment, from: r.Home, began: at, restarts: 1, Faults: Faults{Site: question.Place{Lat: r.Site.Lat, Lon: r.Site.Lon}}}
}

// Axes returns where the axes truly are.
func (m *Mount) Axes(at time.Time) rig.Axes {
	if !m.moving {
		return m.from.Add(m.followed(m.from, m.began, at))
	}
	t := at.Sub(m.began).Seconds()
	if t < m.way.Seconds() {
		return m.way.At(t).Sub(m.short.Scale(t / m.way.Seconds()))
	}
	_, end := m.way.Ends()
	end = end.Sub(m.short)
	return end.Add(m.followed(end, m.began.Add(seconds(m.way.Seconds())), at))
}

// followed is by how much the axes turn while the mount follows the sky.
func (m *Mount) followed(a rig.Axes, from, to time.Time) rig.Axes {
	dt := to.Sub(from).Seconds()
	if !m.tracking || dt <= 0 {
		return rig.Axes{}
	}
	if m.rig.Kind.Equatorial() {
		return m.turning(rig.Axes{A1: unit.Angle(dt) * question.SiderealRate})
	}
	ra, dec, side := m.rig.Unmap(m.mountSky(from), a)
	return m.turning(rig.LiftNear(m.rig.Map(m.mountSky(to), ra, dec, side), a).Sub(a))
}

// Moving tells whether a motion is under way.
func (m *Mount) Moving(at time.Time) bool {
	return m.moving && at.Sub(m.began).Seconds() < m.way.Seconds()
}

// Following tells whether the mount has arrived and follows the sky.
func (m *Mount) Following(at time.Time) bool { return m.tracking && !m.Moving(at) }

// Arrival is when the motion under way ends; the instant itself where none is.
func (m *Mount) Arrival(at time.Time) time.Time {
	if !m.Moving(at) {
		return at
	}
	return m.began.Add(seconds(m.way.Seconds()))
}

// mountSky is what the mount's own map goes by: its clock and site, which may be wrong.
func (m *Mount) mountSky(at time.Time) rig.MountSky {
	air := m.rig.Air()
	s, err := m.moment(at.Add(m.ClockAhead))
	if err != nil {
		return rig.MountSky{Lat: m.Site.Lat}
	}
	return rig.MountSky{Sidereal: s.SiderealTime(m.Site.Lon), Lat: m.Site.Lat, Lift: air.Observed, Sink: air.True}
}

// counts is what the motor counters say.
func (m *Mount) counts(at time.Time) rig.Axes { return m.Axes(at).Sub(m.lostAt(at)) }

// lostAt is by how much the true axes are off the counts, what the present motion loses by then included.
func (m *Mount) lostAt(at time.Time) rig.Axes {
	if !m.moving || m.short == (rig.Axes{}) {
		return m.lost
	}
	done := 1.0
	if t := at.Sub(m.began).Seconds(); t < m.way.Seconds() {
		done = t / m.way.Seconds()
	}
	return m.lost.Sub(m.short.Scale(done))
}

// Lost is by how much the true axes are off what the counters say.
func (m *Mount) Lost(at time.Time) rig.Axes { return m.lostAt(at) }

// loses is by how much a motion to a place of the counters ends short: steps that it loses, and the play of an axis that turns back.
func (m *Mount) loses(from, to rig.Axes) (short rig.Axes) {
	each := func(i int, d unit.Angle, play unit.Angle, losing, short *unit.Angle) {
		if d.Abs() < 1e-9 {
			return
		}
		s := math.Copysign(1, float64(d))
		if m.sense[i] == -s {
			*short += unit.Angle(s) * play
		}
		m.sense[i] = s
		if *losing > 0 && d.Abs() > *losing {
			*short += unit.Angle(s) * *losing
			*losing = 0
		}
	}
	d := to.Sub(from)
	each(0, d.A1, m.Backlash.A1, &m.losing.A1, &short.A1)
	each(1, d.A2, m.Backlash.A2, &m.losing.A2, &short.A2)
	return m.turning(short)
}

// reading is what is read off them: a mount that is not sync-proof shows its syncs there.
func (m *Mount) reading(at time.Time) rig.Axes {
	if m.CountsSync {
		return m.counts(at).Add(m.offset)
	}
	return m.counts(at)
}

// Belief returns where the mount says that it points: right ascension and declination of date, and the side.
func (m *Mount) Belief(at time.Time) (ra, dec unit.Angle, side rig.Side) {
	ra, dec, side = m.rig.Unmap(m.mountSky(at), m.counts(at).Add(m.offset))
	ra, dec = ra+m.sky[0], dec+m.sky[1]
	if !m.rig.Mount.SideSensed { // it says what the hour angle suggests
		side = m.rig.SidesFor("", (m.mountSky(at).Sidereal - ra).Wrapped())[0]
	}
	if dec.Abs() > unit.HalfTurn/2 {
		dec, ra = unit.HalfTurn*unit.Angle(sign(dec))-dec, ra+unit.HalfTurn
	}
	return ra.Positive(), dec, side
}

func sign(a unit.Angle) float64 {
	if a < 0 {
		return -1
	}
	return 1
}

// start begins a motion along poses, in the counters' terms, and then tracks or rests.
func (m *Mount) start(at time.Time, sharing rig.Sharing, rate *unit.Angle, track bool, poses ...rig.Axes) {
	motion := m.rig.Motion
	if rate != nil {
		for i := range motion.RateDeg {
			motion.RateDeg[i] = min(motion.RateDeg[i], rate.Deg())
		}
	}
	here, lost := m.Axes(at), m.lostAt(at)
	truth := []rig.Axes{here}
	for _, p := range poses {
		truth = append(truth, here.Add(m.turning(p.Add(lost).Sub(here))))
	}
	m.lost, m.short = lost, m.loses(here, truth[len(truth)-1])
	m.way = reach.Through(sharing, motion, truth...)
	m.from, m.began, m.moving, m.tracking = truth[0], at, true, track
}

// Slew goes to a place of date by what the mount believes is missing, then tracks or rests. An empty side leaves the choice to the mount.
func (m *Mount) Slew(at time.Time, ra, dec unit.Angle, side rig.Side, track bool) {
	arrival := at
	var to rig.Axes
	for range 2 { // the sky turns while it moves
		ms := m.mountSky(arrival)
		s := side
		if s == "" || m.rig.Mount.Chooses == rig.ByHourAngle || m.rig.Mount.Chooses == rig.FirstOnly {
			s = m.rig.SidesFor("", (ms.Sidereal - ra).Wrapped())[0]
		}
		here := m.counts(at)
		if m.NeverFlips {
			s = m.rig.Kind.SideOf(here)
		}
		want := m.rig.Map(ms, ra-m.sky[0], dec-m.sky[1], s)
		to = m.rig.Lifts(want, here.Add(m.offset))[0].Sub(m.offset)
		arrival = at.Add(seconds(reach.Through(m.rig.Motion.Sharing, m.rig.Motion, here, to).Seconds()))
	}
	poses := append([]rig.Axes(nil), m.rig.Motion.Via...)
	if m.rig.Kind.SideOf(m.counts(at)) != m.rig.Kind.SideOf(to) {
		poses = append(poses, m.rig.Motion.FlipVia...)
	}
	m.start(at, m.rig.Motion.Sharing, nil, track, append(poses, to)...)
}

// SlewAxes goes to mechanical angles by the counters and rests.
func (m *Mount) SlewAxes(at time.Time, to rig.Axes) {
	m.start(at, m.rig.Motion.Sharing, nil, false, to)
}

// Jog turns by so much, then tracks or rests.
func (m *Mount) Jog(at time.Time, by rig.Axes, rate *unit.Angle, track bool) {
	m.start(at, m.rig.Motion.Sharing, rate, track, m.counts(at).Add(by))
}

// Park goes to a place of rest by the mount's belief.
func (m *Mount) Park(at time.Time, rest rig.Axes) {
	m.start(at, m.rig.Motion.Sharing, nil, false, rest.Sub(m.offset))
}

// Home goes to the reference by sensor: it ends at home whatever the counters say, in the order given (empty: the file's).
func (m *Mount) Home(at time.Time, order rig.Sharing) {
	if order == "" {
		order = m.rig.Homing.Order
	}
	m.start(at, order, nil, false, m.rig.Home.Add(m.Index).Sub(m.lostAt(at)))
	m.short = rig.Axes{} // the sensor stops it where it is, whatever the counts say
}

// Homed sets the counters to home where the axes stand now, once the motion is over, and returns what they said there before: the
// closure error. After a homing that ended elsewhere (an axis jammed, say) they are wrong from then on.
func (m *Mount) Homed(at time.Time) (closure rig.Axes) {
	closure = m.counts(at).Sub(m.rig.Home)
	m.Stop(at)
	m.lost = m.from.Sub(m.rig.Home)
	m.offset, m.sky, m.told, m.sense = rig.Axes{}, [2]unit.Angle{}, nil, [2]float64{}
	return closure
}

// Stop stops both axes where they are. (A real one needs a moment more.)
func (m *Mount) Stop(at time.Time) {
	m.from, m.lost, m.began, m.moving, m.tracking = m.Axes(at), m.lostAt(at), at, false, false
}

// Track follows the sky from here.
func (m *Mount) Track(at time.Time) {
	m.from, m.lost, m.began, m.moving, m.tracking = m.Axes(at), m.lostAt(at), at, false, true
}

// Sync takes a place of date as true, in the form in which the rig file says that the mount keeps it.
func (m *Mount) Sync(at time.Time, ra, dec unit.Angle) {
	m.syncs++
	c := m.counts(at)
	ms := m.mountSky(at)
	side := m.rig.Kind.SideOf(c.Add(m.offset))
	switch m.rig.Mount.Sync {
	case rig.KeptOnSky:
		raw, rawDec, _ := m.rig.Unmap(ms, c)
		to := m.taken(rig.Axes{A1: m.sky[0], A2: m.sky[1]}, rig.Axes{A1: (ra - raw).Wrapped(), A2: dec - rawDec})
		m.sky = [2]unit.Angle{to.A1, to.A2}
	case rig.NotKept, rig.KeptSince, rig.KeptAnew: // the last two are of poses, and of no rig file
	case rig.KeptOnAxes, rig.KeptUnknown, rig.KeptInModel:
		m.offset = m.taken(m.offset, rig.LiftNear(m.rig.Map(ms, ra, dec, side), c).Sub(c))
	}
}

// taken is what becomes of an offset when a sync asks for another: that one, unless the mount ignores, averages or partly applies syncs.
func (m *Mount) taken(old, asked rig.Axes) rig.Axes {
	if m.Averages > 1 {
		m.told = append(m.told, asked)
		m.told = m.told[max(0, len(m.told)-m.Averages):]
		asked = rig.Axes{}
		for _, o := range m.told {
			asked = asked.Add(o.Scale(1 / float64(len(m.told))))
		}
	}
	if m.SyncMissed == 0 {
		return asked
	}
	return old.Add(asked.Sub(old).Scale(1 - m.SyncMissed))
}

// Sample returns what a program would read off the mount now. A silent mount gives an error.
func (m *Mount) Sample(at time.Time) (question.Sample, error) {
	if m.Silent {
		return question.Sample{}, fmt.Errorf("the mount does not answer")
	}
	if _, err := m.moment(at.Add(m.ClockAhead)); err != nil {
		return question.Sample{}, fmt.Errorf("the mount's clock: %w", err)
	}
	m.sequence++
	n := m.sequence
	ra, dec, side := m.Belief(at)
	s := question.Sample{
		Time: at, Sequence: &n, Doing: m.doing(at),
		Belief: &question.Belief{Sky: question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Side: side},
	}
	if m.rig.Mount.RunMark {
		s.RunMark = fmt.Sprintf("start-%d", m.restarts)
	}
	for _, src := range m.rig.Sources {
		if src.Kind == rig.MotorCount {
			s.Readings = append(s.Readings, question.Reading{Source: src.Kind, Axes: m.reading(at)})
		}
		if src.Kind == rig.AxisEncoder {
			s.Readings = append(s.Readings, question.Reading{Source: src.Kind, Axes: m.Axes(at)})
		}
	}
	if m.rig.Mount.TellsSidereal {
		lst := m.mountSky(at).Sidereal
		s.Sidereal = &lst
	}
	if m.rig.Mount.TellsSite {
		site := m.Site
		s.Site = &site
	}
	if m.rig.Mount.CountsSyncs {
		k := m.syncs
		s.SyncCount = &k
	}
	return s, nil
}

func (m *Mount) doing(at time.Time) question.Doing {
	switch {
	case m.Moving(at):
		return question.Moving
	case m.tracking:
		return question.Tracking
	}
	return question.AtRest
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
