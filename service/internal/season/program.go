package season

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// program is what a good program and a person do: earlier evenings, then this night.
func (n *night) program() error {
	n.quiet = true
	for k, targets := range n.lot.Earlier {
		if err := n.evening(targets); err != nil {
			return err
		}
		n.earlier++
		n.to(n.lot.Start.AddDate(0, 0, -3*(len(n.lot.Earlier)-1-k)))
		n.mount.PowerDip(n.now)
		if err := n.restarts(); err != nil {
			return err
		}
	}
	n.quiet = false
	n.now = later(n.now, n.lot.Start)
	n.ends = n.lot.Start.Add(n.lot.Length)
	n.due = n.lot.Faults
	n.mount.ClockAhead, n.skew = n.lot.Clock, n.lot.Computer
	n.mount.Index = n.mount.Index.Add(n.lot.Wander)
	n.to(n.now)
	if err := n.begins(); err != nil {
		return err
	}
	for n.now.Before(n.ends) {
		if err := n.target(); err != nil {
			return err
		}
	}
	return n.retreat()
}

// evening is part of an earlier, quiet night.
func (n *night) evening(targets int) error {
	if err := n.begins(); err != nil {
		return err
	}
	n.ends = n.now.Add(12 * time.Hour)
	for range targets {
		if err := n.target(); err != nil {
			return err
		}
	}
	return n.retreat()
}

// begins is what a person and the program do before the first target.
func (n *night) begins() error {
	n.permit = ""
	if n.earlier > 0 {
		if err := n.act(pose.ControllerRestarted); err != nil {
			return err
		}
	}
	if n.lot.Changed && n.earlier > 0 && !n.quiet {
		n.angle += unit.Angle(math.Pi * n.rng.Float64())
		n.mount.Cone = unit.Deg(n.table.draw(n.rng, "cone_deg"))
		if err := n.act(pose.PayloadChanged); err != nil {
			return err
		}
	}
	if err := n.looked(); err != nil {
		return err
	}
	if n.d != nil {
		if err := n.report(decide.Report{Proved: &question.Proof{Person: person, RigDigest: n.rig.Digest, SignsChecked: true, ResidualMM: 4}}); err != nil {
			return err
		}
	}
	if _, err := n.home(); err != nil {
		return err
	}
	if n.lot.Aligns && !n.quiet {
		return n.align()
	}
	return nil
}

// place is somewhere to point at, by hour angle and declination.
type place struct{ ra, dec unit.Angle }

// place is where an hour angle and a declination (its size; toward the pole that is up) stand now, if that is well up.
func (n *night) place(h, dec unit.Angle) (place, bool) {
	s, err := moment(n.now)
	if err != nil {
		return place{}, false
	}
	if n.real.Site.Lat < 0 {
		dec = -dec
	}
	return place{(s.SiderealTime(n.real.Site.Lon) - h).Positive(), dec}, n.up(h, dec)
}

// up tells whether a place is well up, and not where an alt-azimuth cannot follow.
func (n *night) up(h, dec unit.Angle) bool {
	alt := frame.Altitude(frame.SiteFromHour[frame.Rig](n.real.Site.Lat).Apply(frame.FromHour(h, dec))).Deg()
	high := 80.0
	if n.rig.Kind == rig.AltAzimuth {
		high = 68
	}
	return alt > 28 && alt < high
}

// pick draws the next target and how long it will be imaged.
func (n *night) pick() (place, time.Duration, bool) {
	long := minutes(n.table.draw(n.rng, "target_minutes"))
	if n.quiet {
		long = 12 * time.Minute
	}
	for range 100 {
		h, dec := unit.Deg(-65+125*n.rng.Float64()), unit.Deg(-25+100*n.rng.Float64())
		after := h + unit.Angle(long.Seconds()+600)*question.SiderealRate
		d := dec
		if n.real.Site.Lat < 0 {
			d = -dec
		}
		if n.rig.Kind == rig.German && h < 0 && h > unit.Deg(-4) { // so near the meridian a program waits for it
			continue
		}
		if n.up(after, d) {
			if at, ok := n.place(h, dec); ok {
				return at, long, true
			}
		}
	}
	return place{}, 0, false
}

// target works through one target: slew, picture, sync, slew again, picture, and then hours of it with a picture now and then.
func (n *night) target() error {
	at, long, ok := n.pick()
	if !ok {
		return fmt.Errorf("%w: no target is up", errWorld)
	}
	if moved, err := n.slew(at, 10*time.Minute); err != nil || !moved {
		return n.missed(err)
	}
	n.away, n.strayed = false, false
	rounds := 2
	if n.table.chance(n.rng, "centring_slews") {
		rounds = 3
	}
	for k := range rounds {
		done, err := n.centre()
		if err != nil || n.away {
			return err
		}
		if done && k < rounds-1 || n.strayed {
			n.strayed = false
			if moved, err := n.slew(at, 10*time.Minute); err != nil || !moved {
				return n.missed(err)
			}
		}
	}
	return n.image(at, long)
}

// missed lets some time go by after a motion that was not allowed; a person comes where it lasts.
func (n *night) missed(err error) error {
	if err != nil {
		return err
	}
	if err := n.stop(); err != nil {
		return err
	}
	n.score.missed++
	needs := n.needs
	n.needs = nil
	switch {
	case wants(needs, verdict.NeedRelease, verdict.NeedClock, verdict.NeedSite):
		return n.comes("needed: " + string(needs[0].Kind))
	case n.score.missed%4 == 0:
		return n.comes("motions are not allowed")
	case wants(needs, verdict.NeedHoming):
		_, err := n.home()
		return err
	}
	return n.pass(2 * time.Minute)
}

// image images a target, through a flip where it crosses the meridian.
func (n *night) image(at place, long time.Duration) error {
	until := n.now.Add(long)
	if until.After(n.ends) {
		until = n.ends
	}
	for n.now.Before(until) {
		left := until.Sub(n.now)
		stretch := min(left, n.toMeridian(at))
		allowed, err := n.move(question.Action{Kind: question.Track, Follow: stretch}, func() { n.mount.Track(n.now) })
		if err != nil || !allowed {
			return n.missed(err)
		}
		if err := n.track(n.now.Add(stretch)); err != nil || n.away {
			return err
		}
		if err, on := n.resume(at, left-stretch); err != nil || !on {
			return err
		}
	}
	return nil
}

// resume goes back to a target after a move for a second picture, or takes the tube over where the meridian is past.
func (n *night) resume(at place, left time.Duration) (error, bool) {
	var ok bool
	var err error
	switch {
	case n.strayed:
		n.strayed = false
		ok, err = n.slew(at, 10*time.Minute)
	case left > 5*time.Minute:
		ok, err = n.flip(at)
	default:
		return nil, true
	}
	if err != nil || !ok {
		return n.missed(err), false
	}
	return nil, !n.away
}

// pastMeridian is how far past the meridian a German is followed before it flips. Invented.
const pastMeridian = 4 * time.Minute

// toMeridian is how long a German may go on until it must flip; long where it need not.
func (n *night) toMeridian(at place) time.Duration {
	s, err := moment(n.now)
	if err != nil || n.rig.Kind != rig.German {
		return 24 * time.Hour
	}
	h := (s.SiderealTime(n.real.Site.Lon) - at.ra).Wrapped()
	if h > 0 {
		return 24 * time.Hour
	}
	return time.Duration(float64(-h/question.SiderealRate)*float64(time.Second)) + pastMeridian
}

// track follows a target, with a picture to make sure now and then.
func (n *night) track(until time.Time) error {
	for n.now.Before(until) {
		every := minutes(n.table.draw(n.rng, "check_every_minutes"))
		last := n.now.Add(every).After(until)
		if last {
			return n.pass(until.Sub(n.now))
		}
		if err := n.pass(every); err != nil {
			return err
		}
		if _, err := n.centre(); err != nil || n.away || n.strayed {
			return err
		}
	}
	return nil
}
