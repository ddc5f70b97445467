package sim

import (
	"math"
	"math/rand/v2"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// night is what a program does from dusk to dawn: home, then target after target, each found, solved, synced, centred and followed.
func (p *program) night() {
	p.begins()
	p.w.say("%s begins", p.name)
	for !p.quit || p.mustRecover() {
		if p.mustRecover() {
			p.recover()
			continue
		}
		p.target()
	}
	if !p.retreat() { // who ends leaves no mount that goes on
		p.halt(pb.EndKind_END_KIND_STOPPED)
	}
	p.w.say("%s ends", p.name)
}

// begins is what a person and the program do before the first motion.
func (p *program) begins() {
	p.f.look()
	p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: p.person.name, Axes: pairOf(p.f.mount.Axes(p.w.now()))}}})
	p.prove(p.person.name)
	p.try(p.home)
}

// try does something until it succeeds, a few times; then a person comes, and it is tried again.
func (p *program) try(do func() bool) bool {
	for i := range 6 {
		if do() {
			return true
		}
		if i == 3 {
			p.person.comes(p)
			p.home()
		}
		p.sleep(time.Duration(5+p.rng.IntN(20)) * time.Second)
	}
	return false
}

// mustRecover tells whether the faults are over and it was not shown yet that the night goes on.
func (p *program) mustRecover() bool { return p.calm && p.cycle < 3 }

// recover shows, once the faults are over, that nothing keeps the rig from an ordinary night: it homes, goes to a target, and goes home.
func (p *program) recover() {
	for _, do := range []func() bool{p.home, func() bool { _, ok := p.slew(20*time.Minute, nil); return ok }, p.retreat} {
		if !p.try(do) {
			p.cycle = 0
			return
		}
		p.cycle++
	}
	p.w.say("%s has recovered", p.name)
}

// place is somewhere that a person would point at: well up, clear of everything, with room to follow it.
type place struct{ ra, dec unit.Angle }

func (p *program) place() (place, bool) {
	now := p.w.now()
	m, err := moment(now)
	if err != nil {
		return place{}, false
	}
	r := p.f.rig
	sky := rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon), Lat: r.Site.Lat}
	low, high := r.Travel.Low, r.Travel.High
	for range 200 {
		a := rig.Axes{A1: low.A1 + unit.Angle(p.rng.Float64())*(high.A1-low.A1), A2: low.A2 + unit.Angle(p.rng.Float64())*(high.A2-low.A2)}
		ahead := a.Add(rig.DegAxes(28, 0))
		if p.rash {
			ra, dec, _ := r.Unmap(sky, a)
			return place{ra.Positive(), dec}, true
		}
		if alt := p.f.altitude(a).Deg(); alt < 34 || alt > 76 {
			continue
		}
		if r.Kind.Equatorial() && (ahead.A1 > high.A1-0.05 || p.f.altitude(ahead).Deg() < 25 || p.f.gap(ahead) < 70) || p.f.gap(a) < 70 {
			continue
		}
		ra, dec, side := r.Unmap(sky, a)
		if !r.Kind.Equatorial() && (dec-r.Site.Lat).Abs().Deg() < 15 { // it would pass the zenith, where axis 1 cannot follow
			continue
		}
		if dec.Abs().Deg() > 85 || side != r.SidesFor("", (sky.Sidereal - ra).Wrapped())[0] {
			continue
		}
		return place{ra.Positive(), dec}, true
	}
	return place{}, false
}

// slew goes to a place, to a new one where none is given, and follows it.
func (p *program) slew(follow time.Duration, to *place) (place, bool) {
	if to == nil {
		at, ok := p.place()
		if !ok {
			p.sleep(10 * time.Minute)
			return place{}, false
		}
		to = &at
	}
	act := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: to.ra, Dec: to.dec, Frame: question.OfDate}, Follow: follow}
	ok := p.move(act, func(at time.Time) { p.f.mount.Slew(at, to.ra, to.dec, "", follow > 0) })
	return *to, ok
}

// retreat goes home by axes.
func (p *program) retreat() bool {
	home := p.f.rig.Home
	return p.move(question.Action{Kind: question.Retreat, Axes: &home}, func(at time.Time) { p.f.mount.SlewAxes(at, home) })
}

// target works through one target.
func (p *program) target() {
	at, ok := p.slew(20*time.Minute, nil)
	if !ok {
		if p.misses++; p.misses%4 == 0 {
			p.person.comes(p)
			p.home()
		}
		return
	}
	p.misses = 0
	if p.sync() {
		p.slew(20*time.Minute, &at)
	}
	long := time.Duration(40+p.rng.IntN(55)) * time.Minute
	if !p.move(question.Action{Kind: question.Track, Follow: long}, p.f.mount.Track) {
		return
	}
	if !p.wait(long/2, 20*time.Minute) {
		return
	}
	if p.rng.IntN(2) == 0 { // a dither
		by := rig.DegAxes(0.01, -0.01)
		p.move(question.Action{Kind: question.Jog, Axes: &by, Follow: long / 2}, func(at time.Time) { p.f.mount.Jog(at, by, nil, true) })
	}
	p.wait(long/2-3*time.Minute, 20*time.Minute)
	p.odd()
}

// odd is what not every target brings.
func (p *program) odd() {
	switch p.rng.IntN(6) {
	case 0:
		if p.f.mount.Following(p.w.now()) { // at rest the stars would trail
			p.sync()
		}
	case 1:
		if r := p.f.rig; r.Kind == rig.German {
			ra, dec, side := p.f.mount.Belief(p.w.now())
			p.move(question.Action{Kind: question.Flip, Follow: 20 * time.Minute}, func(at time.Time) { p.f.mount.Slew(at, ra, dec, side.Other(), true) })
		}
	case 2:
		if rests := p.f.rig.Rests; len(rests) > 0 {
			rest := rests[p.rng.IntN(len(rests))]
			p.move(question.Action{Kind: question.Park, Place: rest.Name}, func(at time.Time) { p.f.mount.Park(at, rest.Axes) })
		}
	case 3:
		p.halt(pb.EndKind_END_KIND_STOPPED) // a creep is for a rig that rests
		p.sleep(2 * time.Second)
		by := oneAxis(p.rng)
		p.move(question.Action{Kind: question.Creep, Axes: &by, Rate: slowly()}, func(at time.Time) { p.f.mount.Jog(at, by, slowly(), false) })
	}
}

// oneAxis is a turn of one axis by a few degrees, either way.
func oneAxis(rng *rand.Rand) rig.Axes {
	by := math.Copysign(0.3+4*rng.Float64(), rng.Float64()-0.5)
	if rng.IntN(2) == 0 {
		return rig.DegAxes(by, 0)
	}
	return rig.DegAxes(0, by)
}

// exposure is how long every picture is exposed.
const exposure = 5 * time.Second

// sync takes a picture, solves it, and tells the mount where it looked, if that is allowed.
func (p *program) sync() bool {
	p.report(&pb.ReportRequest{})
	p.sleep(time.Second)
	start := p.w.now()
	p.sleep(exposure + 2*time.Second)
	v := p.f.camera.Picture(start, exposure)
	if p.f.falsely > 0 {
		p.f.falsely--
		off := func() float64 { return math.Copysign(6+14*p.rng.Float64(), p.rng.Float64()-0.5) }
		v = p.f.camera.False(start, exposure, rig.DegAxes(off(), off()), 60)
	}
	v.Start = v.Start.Add(p.skew).Round(0)
	if t := v.Rotation.Positive(); t != *v.Rotation {
		v.Rotation = &t
	}
	if good := *v.Pixel * 0.9; *v.Residual > good { // the camera's scatter is that of coarser pixels
		v.Residual = &good
	}
	if p.f.rig.Solver.NoResidual {
		v.Residual = nil
	}
	o := p.ask(question.Action{Kind: question.Sync, Solve: &v})
	if !o.allowed {
		if hasSecond(o.needs) {
			p.second()
		}
		return false
	}
	ra, dec := ofDate(v.Sky, p.w.now())
	p.f.touch(func(at time.Time) { p.f.mount.Sync(at, ra, dec) })
	p.sleep(500 * time.Millisecond)
	_, ok := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Synced{Synced: &pb.Synced{LeaveId: o.reply.GetSyncLeave().GetLeaveId()}}})
	return ok
}

func hasSecond(needs []*pb.Need) bool {
	for _, n := range needs {
		if n.GetKind() == pb.NeedKind_NEED_KIND_SECOND_SOLVE {
			return true
		}
	}
	return false
}

// second goes on a little and takes the second picture that was asked for.
func (p *program) second() {
	by := rig.DegAxes(4, 3)
	if !p.move(question.Action{Kind: question.Jog, Axes: &by, Rate: slowly(), Follow: 10 * time.Minute}, func(at time.Time) { p.f.mount.Jog(at, by, slowly(), true) }) {
		return
	}
	if p.seconds++; p.seconds%3 != 0 {
		p.sync()
	}
}

// slowly is the rate of a jog from a pose in doubt.
func slowly() *unit.Angle {
	r := 0.5 * unit.Degree
	return &r
}

// ofDate turns catalogue coordinates into those that a mount goes by.
func ofDate(s question.Sky, at time.Time) (ra, dec unit.Angle) {
	m, err := moment(at)
	if s.Frame == question.OfDate || err != nil {
		return s.RA, s.Dec
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}
