package practice

import (
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Errors are how a real rig differs from the one that its file describes. The zero Errors are none. The formulas are textbook geometry,
// worked out as turns of directions and not as small-angle terms, so they hold near the pole and the zenith too.
type Errors struct {
	Polar    rig.Tilt   // polar-axis error beside that of the file
	Index    rig.Axes   // where homing ends, less home
	Cone     unit.Angle // the tube out of square with axis 2, toward its direction
	Across   unit.Angle // axis 2 out of square with axis 1, toward the direction of that
	Flexure  unit.Angle // by how much a level tube droops; with the sine of the zenith distance otherwise
	Sag      unit.Angle // by how much a level axis 2 of a German droops, or a fork's arms while they lie level, one above the other
	Backlash rig.Axes   // play of the gears: what an axis that turns the other way loses first
	Periodic unit.Angle // amplitude of the periodic error of axis 1
	Period   unit.Angle // turn of axis 1 in which that repeats; 0: none
}

// Kick turns the whole rig over the ground at an instant: a leg that was kicked, or a base that leans. The turn is a vector along its axis, as
// long as the angle (radians); several add up.
func (m *Mount) Kick(by frame.Vec[frame.Rig]) {
	if n := by.Norm(); n > 0 {
		turn := frame.About(by.Scale(1/n), unit.Angle(n))
		if m.base != nil {
			turn = frame.Then(*m.base, turn)
		}
		m.base = &turn
	}
}

// Straighten undoes every kick: somebody levelled the base.
func (m *Mount) Straighten() { m.base = nil }

// LoseSteps lets the axes fall short by so much in the course of the next motion that turns them, without the counters knowing. The sizes
// count, the motion gives the direction.
func (m *Mount) LoseSteps(by rig.Axes) { m.losing = by.Abs() }

// perfect tells whether the rig is as its file says.
func (m *Mount) perfect() bool { return m.Errors == (Errors{}) && m.base == nil }

// chain is the mount as it truly stands.
func (m *Mount) chain() rig.Chain {
	c := m.rig.Chain
	if m.Polar != (rig.Tilt{}) {
		t := m.rig.Tilt
		c = rig.NewChain(m.rig.Kind, m.rig.Site.Lat, rig.Tilt{East: t.East + m.Polar.East, Up: t.Up + m.Polar.Up}, c.Point1, 0)
	}
	if m.base != nil {
		c.Dir1, c.Dir2, c.Tube = m.base.Apply(c.Dir1), m.base.Apply(c.Dir2), m.base.Apply(c.Tube)
	}
	if m.Across != 0 {
		square := frame.About(c.Dir2.Cross(c.Dir1), m.Across)
		c.Dir2, c.Tube = square.Apply(c.Dir2), square.Apply(c.Tube)
	}
	return c
}

// attitude is where the tube truly points at a pose of the axes, and how axis 2 stands there. Without refraction.
func (m *Mount) attitude(a rig.Axes) (tube, axis2 frame.Vec[frame.Rig]) {
	c := m.chain()
	if m.perfect() {
		return c.Direction(a), frame.About(c.Dir1, a.A1).Apply(c.Dir2)
	}
	if m.Period > 0 {
		a.A1 += m.Periodic * unit.Angle(unit.Angle(2*math.Pi*float64(a.A1/m.Period)).Sin())
	}
	if m.rig.Kind == rig.Fork {
		a.A2 += m.Sag * unit.Angle(a.A1.Cos()*m.rig.Site.Lat.Cos())
	}
	tube = c.Tube.Scale(m.Cone.Cos()).Add(c.Dir2.Scale(m.Cone.Sin()))
	tube = frame.About(c.Dir1, a.A1).Apply(frame.About(c.Dir2, a.A2).Apply(tube))
	axis2 = frame.About(c.Dir1, a.A1).Apply(c.Dir2)
	if m.rig.Kind == rig.German {
		tube, axis2 = droop(tube, axis2, m.Sag), droop(axis2, axis2, m.Sag)
	}
	return droop(tube, tube, m.Flexure), axis2
}

// droop turns a direction as a lever droops under its own weight: by so much when level, with the sine of its zenith distance otherwise.
func droop(v, lever frame.Vec[frame.Rig], level unit.Angle) frame.Vec[frame.Rig] {
	axis := lever.Cross(frame.Vec[frame.Rig]{Z: -1})
	n := axis.Norm()
	if level == 0 || n < 1e-12 {
		return v
	}
	return frame.About(axis.Scale(1/n), level*unit.Angle(n)).Apply(v)
}

// looks is the ICRS direction in which the tube truly looks at a pose: through the air, back to the stars. turn is the position angle of
// axis 2 there, from the ICRS north through east.
func (m *Mount) looks(at time.Time, a rig.Axes) (ra, dec, turn unit.Angle, ok bool) {
	s, err := m.moment(at)
	if err != nil {
		return 0, 0, 0, false // a time that the tables do not reach: Sample says so
	}
	tube, axis2 := m.attitude(a)
	hour := frame.SiteFromHour[frame.Rig](m.rig.Site.Lat)
	sight := m.rig.Air().True(frame.Altitude(tube))
	az, _ := frame.AzAlt(tube)
	v := frame.Horizon[frame.Rig](az, sight)
	ra, dec = s.ICRS(s.FromHour(hour.Inverse().Apply(v), m.rig.Site.Lon)).LonLat()
	pole := hour.Apply(s.Hour(s.Apparent(frame.Vec[frame.ICRS]{Z: 1}), m.rig.Site.Lon))
	east := pole.Cross(v)
	north := v.Cross(east)
	return ra, dec, unit.Angle(math.Atan2(axis2.Dot(east), axis2.Dot(north))), true
}

// Looks is where the camera truly looks at an instant (ICRS), and the position angle of axis 2 in its picture.
func (m *Mount) Looks(at time.Time) (ra, dec, turn unit.Angle, ok bool) {
	return m.looks(at, m.Axes(at).Add(m.Boresight))
}

// BeliefError is by how much the mount's belief is off over the ground: how far, in hour angle (as an angle on the sky) and declination, it
// believes to point from where the camera truly looks. A wrong clock or longitude of the mount counts, although right ascension and
// declination be right; on an alt-azimuth, which knows the ground by them, its latitude too.
func (m *Mount) BeliefError(at time.Time) (off unit.Angle, each [2]unit.Angle) {
	s, err := m.moment(at)
	if err != nil {
		return unit.HalfTurn, [2]unit.Angle{unit.HalfTurn, 0}
	}
	ra, dec, _, _ := m.Looks(at)
	truth := s.Hour(s.Apparent(frame.FromLonLat[frame.ICRS](ra, dec)), m.rig.Site.Lon)
	bra, bdec, _ := m.Belief(at)
	believed := frame.FromHour((m.mountSky(at).Sidereal - bra).Wrapped(), bdec)
	if m.rig.Kind == rig.AltAzimuth {
		ground := frame.SiteFromHour[frame.Rig](m.Site.Lat).Apply(believed)
		believed = frame.SiteFromHour[frame.Rig](m.rig.Site.Lat).Inverse().Apply(ground)
	}
	h, d := frame.HourDec(truth)
	bh, bd := frame.HourDec(believed)
	return truth.Angle(believed), [2]unit.Angle{(bh - h).Wrapped() * unit.Angle(d.Cos()), bd - d}
}
