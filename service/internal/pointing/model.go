package pointing

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Term is one way in which a mount is not perfect.
type Term int

// Terms. Positive is the turn by the right hand about the line named; Cone is toward axis 2 as it stands, the sags are toward the ground.
const (
	Index1 Term = iota // reading of axis 1: a turn about axis 1
	Index2             // reading of axis 2: a turn about axis 2
	Cone               // the optics stand off the tube's own plane, toward axis 2
	Square             // axis 2 is not at right angles to axis 1
	TiltA              // axis 1 turned about east: for an equatorial, in altitude
	TiltB              // axis 1 turned about the third direction: for an equatorial, in azimuth, times the cosine of latitude
	Tube               // the tube sinks, with the sine of the zenith distance
	Shaft              // a German's axis 2 sinks under its load; a fork's arms do; an alt-azimuth has none
	Terms              // how many
)

// terms holds, for each term, its name for people, the standard deviation that it has before anything is known of it, and the most that is
// believed of it. Common practice, no source: a first pointing error of one or two degrees is ordinary (design, section 17), a cone error
// of half a degree is a rail shimmed by two millimetres, a polar axis set by eye stands within a degree, and tubes bend by arcminutes.
var terms = [Terms]struct {
	name         string
	sigma, bound unit.Angle
}{
	Index1: {"index of axis 1", 1 * unit.Degree, 10 * unit.Degree},
	Index2: {"index of axis 2", 1 * unit.Degree, 10 * unit.Degree},
	Cone:   {"cone error", 0.5 * unit.Degree, 3 * unit.Degree},
	Square: {"axis 2 off the right angle", 0.1 * unit.Degree, 1 * unit.Degree},
	TiltA:  {"axis 1 off, about east", 0.5 * unit.Degree, 5 * unit.Degree},
	TiltB:  {"axis 1 off, across that", 0.5 * unit.Degree, 5 * unit.Degree},
	Tube:   {"flexure of the tube", 4 * unit.Arcminute, 0.5 * unit.Degree},
	Shaft:  {"flexure of axis 2", 4 * unit.Arcminute, 0.5 * unit.Degree},
}

// Name returns what a term is called.
func (t Term) Name() string { return terms[t].name }

// misfit is the standard deviation, across and along, of what these terms leave out: a solve's own scatter, backlash, what bends
// otherwise. Common practice, no source.
const misfit = 2 * unit.Arcminute

// packed is how many numbers a symmetric matrix of all terms has.
const packed = int(Terms) * (int(Terms) + 1) / 2

// Fit is what is believed of the terms.
type Fit struct {
	Terms [Terms]unit.Angle `json:"terms_rad"`
	// Cov is their covariance, the lower triangle row by row, radians squared.
	Cov [packed]float32 `json:"cov"`
	// Home is the standard deviation of a homing since it last learnt, which is in Cov: where an axis stops scatters about one place, however often
	// it is homed.
	Home rig.Axes `json:"home_rad,omitzero"`
	// Anew is what of Cov a person's eye alone opened of the zero since it last learnt.
	Anew rig.Axes `json:"anew_rad,omitzero"`
}

// Model is the pointing model of one rig through one of its optics.
type Model struct {
	Fit
	// Axis1 is where axis 1 points by the rig file that it was learnt with.
	Axis1 [3]float64 `json:"axis1"`
	Count int        `json:"count"`           // solves taken in since the last act that loosened it
	Quiet int        `json:"quiet,omitempty"` // how many in a row, up to the last, lay within minutes of where they were expected
	// Settled is the fit as it was when it had become sure, and taught since where it was not, by which a slow walk is seen; nil: not sure yet.
	Settled *Fit `json:"settled,omitempty"`
	// Runs are sums of what solves were off to one side beyond what chance gives: across up and down, along up and down; standard deviations.
	Runs [4]float32 `json:"runs"`
	// OnSensor: the readings count from where a sensor stops the axes. AtSensor is what was learnt when they did, while a person's word gives them
	// another zero: a sensor stops them where it did before.
	OnSensor bool  `json:"on_sensor,omitempty"`
	AtSensor *Kept `json:"at_sensor,omitempty"`
	// OnMarks and AtMarks are the same of the marks at which a person sees the axes at home.
	OnMarks bool  `json:"on_marks,omitempty"`
	AtMarks *Kept `json:"at_marks,omitempty"`
	// Taken is the sum of the shifts that were taken on the word of two pictures since the last act that loosened it.
	Taken unit.Angle `json:"taken_rad,omitempty"`
}

// Kept is what was learnt while readings counted from another zero than now: from where a sensor stops the axes, or from the marks.
type Kept struct {
	Fit
	Settled *Fit `json:"settled,omitempty"`
	Count   int  `json:"count,omitempty"` // as in Model; 0: not kept
	Quiet   int  `json:"quiet,omitempty"`
}

// kept is what is learnt now, to be taken up again.
func (m *Model) kept() *Kept { return &Kept{m.Fit, m.Settled, m.Count, m.Quiet} }

// takeUp goes on with what was learnt once.
func (m *Model) takeUp(s *Kept) {
	m.Fit, m.Settled = s.Fit, s.Settled
	if s.Count > 0 {
		m.Count, m.Quiet = s.Count, s.Quiet
	}
}

// New is the model of a mount of which nothing is known; home is the standard deviation of where its readings count from.
func New(mount Mount, home rig.Axes) Model {
	d := mount.Chain.Dir1
	m := Model{Axis1: [3]float64{d.X, d.Y, d.Z}}
	for t := range Terms {
		m.set(t, t, sq(terms[t].sigma))
	}
	m.add(Index1, sq(home.A1))
	m.add(Index2, sq(home.A2))
	return m
}

// Of tells whether the model is of a mount: finite, and learnt with axis 1 where the file has it now.
func (m *Model) Of(mount Mount) bool {
	d := mount.Chain.Dir1
	return m.Finite() && vec{X: m.Axis1[0], Y: m.Axis1[1], Z: m.Axis1[2]}.Angle(d) < unit.Arcsecond
}

func sq(a unit.Angle) float64 { return float64(a) * float64(a) }

// at is the place of a pair of terms in the packed matrix.
func at(i, j Term) int {
	if i < j {
		i, j = j, i
	}
	return int(i)*(int(i)+1)/2 + int(j)
}

func (f *Fit) cov(i, j Term) float64 { return float64(f.Cov[at(i, j)]) }

func (f *Fit) set(i, j Term, v float64) { f.Cov[at(i, j)] = float32(v) }

func (f *Fit) add(t Term, v float64) { f.set(t, t, f.cov(t, t)+v) }

// Sigma returns the standard deviation of a term.
func (f *Fit) Sigma(t Term) unit.Angle { return unit.Angle(math.Sqrt(max(0, f.cov(t, t)))) }

// Finite tells whether every number of the model is one.
func (m *Model) Finite() bool {
	ok := m.Fit.finite() && m.Taken.Finite() && m.Settled.finite() && m.AtSensor.finite() && m.AtMarks.finite()
	for _, r := range m.Runs {
		ok = ok && unit.Angle(r).Finite()
	}
	return ok
}

func (s *Kept) finite() bool {
	return s == nil || s.Fit.finite() && s.Settled.finite()
}

// finite tells whether every number of a fit is one; of none, too.
func (f *Fit) finite() bool {
	if f == nil {
		return true
	}
	if !f.Home.Finite() || !f.Anew.Finite() {
		return false
	}
	for _, t := range f.Terms {
		if !t.Finite() {
			return false
		}
	}
	for _, c := range f.Cov {
		if !unit.Angle(c).Finite() {
			return false
		}
	}
	return true
}

// Sensed is the model after a sensor stopped the axes, to home, one standard deviation. It stops them where it did before, if it ever did.
func (m Model) Sensed(home rig.Axes) Model {
	switch {
	case m.OnSensor:
	case m.AtSensor != nil:
		m.takeUp(m.AtSensor)
	default:
		m = m.each(func(f Fit) Fit { return f.loosened(Index1, Index2) })
	}
	m.OnSensor, m.AtSensor = true, nil
	m.OnMarks, m.AtMarks = false, nil
	return m.homed(home)
}

// Step is how far the axes stand from where they were held to, one standard deviation. Anew: nothing but the person's eye says so, and the eye
// errs anew each time.
type Step struct {
	rig.Axes
	Anew bool
}

// Marked is the model after a person saw the axes at the marks of home. They stand off where the readings had them by step, and off the zero of the
// last time at the marks by sum: they are the same marks, whatever was stated between.
func (m Model) Marked(step, sum Step) Model {
	m = m.leaveSensor()
	if m.AtMarks != nil {
		m.takeUp(m.AtMarks)
		step = sum
	}
	m.OnMarks, m.AtMarks = true, nil
	return m.stepped(step)
}

// Stated is the model after a person gave the readings another zero, which stands off the one before by step.
func (m Model) Stated(step Step) Model {
	m = m.leaveSensor()
	if m.OnMarks {
		m.AtMarks, m.OnMarks = m.kept(), false
	}
	return m.stepped(step)
}

// stepped opens what was learnt of the zero by a step.
func (m Model) stepped(by Step) Model {
	m = m.homed(by.Axes)
	if by.Anew {
		m = m.each(func(f Fit) Fit { f.Anew = f.Home; return f })
	}
	return m
}

func (m Model) leaveSensor() Model {
	if m.OnSensor {
		m.AtSensor, m.OnSensor = m.kept(), false
	}
	return m
}

// remembered is how long a run, standard deviations, is remembered through a homing: it holds no solve by itself, and is not calm.
const remembered = 2 * calm

// homed: a homing is no act. What had settled stays settled, or a walk could begin anew after each; and calm has to be earned.
func (m Model) homed(home rig.Axes) Model {
	for i := range m.Runs {
		m.Runs[i] = min(m.Runs[i], remembered)
	}
	return m.each(func(f Fit) Fit {
		more := rig.Axes{A1: max(home.A1, f.Home.A1), A2: max(home.A2, f.Home.A2)}
		f.add(Index1, sq(more.A1)-sq(f.Home.A1))
		f.add(Index2, sq(more.A2)-sq(f.Home.A2))
		f.Home = more
		return f
	})
}

// each changes the fit, and the settled one where there is one.
func (m Model) each(change func(Fit) Fit) Model {
	m.Fit = change(m.Fit)
	if m.Settled != nil {
		old := change(*m.Settled)
		m.Settled = &old
	}
	return m
}

// Loosened is the model after an act that may have changed some terms: of those nothing is known any more.
func (m Model) Loosened(which ...Term) Model {
	return m.anew(func(f Fit) Fit { return f.loosened(which...) })
}

func (f Fit) loosened(which ...Term) Fit {
	for _, t := range which {
		f.Terms[t] = 0
		for o := range Terms {
			f.set(t, o, 0)
		}
		f.set(t, t, sq(terms[t].sigma))
		if t == Index1 {
			f.Home.A1, f.Anew.A1 = 0, 0 // what homing opened of it is in the prior
		}
		if t == Index2 {
			f.Home.A2, f.Anew.A2 = 0, 0
		}
	}
	return f
}

// aligned is the standard deviation of how axis 1 leans, each way, after somebody set it toward the pole. Common practice, no source: an
// alignment by pictures leaves minutes of arc, and is reported before it is quite done.
const aligned = 20 * unit.Arcminute

// bolts is the least share of a turn about the vertical that turns axis 1, for it to be what somebody sets it toward the pole by. Choice: at latitudes
// nearer to a pole than ten degrees, and for what stands upright, the base is set by its feet.
const bolts = 0.17

// Aligned is the model after axis 1 was set anew toward the pole: about the vertical by as much as it leaned across, which turns the readings of axis 1
// too, and about east.
func (m Model) Aligned() Model {
	dir1 := vec{X: m.Axis1[0], Y: m.Axis1[1], Z: m.Axis1[2]}
	_, b := leans(&rig.Chain{Dir1: dir1})
	k := 0.0
	if math.Abs(b.Z) > bolts {
		k = dir1.Z / b.Z
	}
	return m.anew(func(f Fit) Fit {
		by := unit.Angle(k) * f.Terms[TiltB]
		f.lead(Index1, TiltB, -k)
		f = f.leaning(aligned)
		f.add(Index1, sq(by/3)) // choice: who sets axis 1 by other means than those turns it otherwise
		f.lead(Index1, TiltB, k)
		return f
	})
}

// moved is the standard deviation of how far a base that was moved turned about axis 1. Choice: a third of how far axis 1 may lean unaligned.
const moved = 5 * unit.Degree / 3

// Turned is the model after the base was moved: how axis 1 leans is as open as of a rig that nobody knows.
func (m Model) Turned() Model {
	return m.anew(func(f Fit) Fit {
		f = f.leaning(terms[TiltB].sigma)
		if f.Sigma(Index1) > terms[Index1].sigma { // moved before, and little learnt since: no more open than a rig's that nobody knows
			f = f.loosened(Index1)
		}
		f.add(Index1, sq(moved))
		return f
	})
}

// leaning is a fit that knows of how axis 1 leans no more than a standard deviation.
func (f Fit) leaning(sigma unit.Angle) Fit {
	f = f.loosened(TiltA, TiltB)
	f.set(TiltA, TiltA, sq(sigma))
	f.set(TiltB, TiltB, sq(sigma))
	f.add(Index1, sq(sigma))
	return f
}

// lead adds k times a term to another.
func (f *Fit) lead(t, by Term, k float64) {
	f.Terms[t] += unit.Angle(k) * f.Terms[by]
	own := f.cov(t, t) + 2*k*f.cov(t, by) + k*k*f.cov(by, by)
	for o := range Terms {
		if o != t {
			f.set(t, o, f.cov(t, o)+k*f.cov(by, o))
		}
	}
	f.set(t, t, own)
}

// anew: an act says that what was calm has changed.
func (m Model) anew(change func(Fit) Fit) Model {
	m.Fit = change(m.Fit)
	m = m.alsoKept(func(k Kept) Kept { return Kept{Fit: change(k.Fit)} })
	m.restart()
	m.Count, m.Quiet, m.Taken = 0, 0, 0
	return m
}

// alsoKept changes what is kept of the sensor and of the marks.
func (m Model) alsoKept(change func(Kept) Kept) Model {
	for _, kept := range []**Kept{&m.AtSensor, &m.AtMarks} {
		if *kept != nil {
			other := change(**kept)
			*kept = &other
		}
	}
	return m
}

// restart: what was calm is not calm any more.
func (m *Model) restart() { m.Settled, m.Runs = nil, [4]float32{} }
