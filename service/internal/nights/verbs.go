package nights

import (
	"errors"
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// wait lets time go by, with samples; "wait 5m silent" without.
func (n *night) wait(a *arguments) error {
	d := a.duration()
	silent := a.take("silent")
	if err := a.done(); err != nil {
		return err
	}
	if silent {
		n.to(n.Now().Add(d))
		return nil
	}
	return n.pass(n.Now().Add(d))
}

// attended says who is there: attended NAME, or attended nobody.
func (n *night) attended(a *arguments) error {
	n.person = a.rest()
	if n.person == "nobody" {
		n.person = ""
	}
	return nil
}

// setAsker names the program that asks, or sets its clock: "asker planetarium", "asker clock 1m" (ahead).
func (n *night) setAsker(a *arguments) error {
	if a.take("clock") {
		n.skew = a.duration()
		return a.done()
	}
	n.asker = a.rest()
	return nil
}

// setClock says what bounds the service's clock: network; "synchronised 4h before" for one offline since then; unknown.
func (n *night) setClock(a *arguments) error {
	switch w := a.next(); w {
	case "network":
		n.clock = func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} }
	case "synchronised":
		good := n.Now().Add(-a.duration())
		a.take("before")
		n.clock = func(time.Time) question.Clock { return question.Clock{GoodAt: &good, GoodBoundS: 0.1} }
	case "unsynchronised": // the kernel stops at 16 s then, whatever the error
		n.clock = func(time.Time) question.Clock { return question.Clock{KernelBoundS: 16} }
	case "unknown":
		n.clock = func(time.Time) question.Clock { return question.Clock{} }
	case "jumped":
		why := a.next()
		n.clock = func(time.Time) question.Clock { return question.Clock{KernelSynced: true, Jumped: why} }
	default:
		return fmt.Errorf("%q is no state of a clock", w)
	}
	return a.done()
}

// setQuestions says how questions come: "questions begin later", "questions begin at once", "questions without sending time".
func (n *night) setQuestions(a *arguments) error {
	switch w := a.rest(); w {
	case "begin later":
		n.later = true
	case "begin at once":
		n.later = false
	case "without sending time":
		n.noSend = true
	default:
		return fmt.Errorf("not understood: %q", w)
	}
	return nil
}

// setGuiding switches guiding on or off.
func (n *night) setGuiding(a *arguments) error {
	n.guiding = a.take("on")
	if !n.guiding {
		a.take("off")
	}
	return a.done()
}

// Guiding corrects by a second of arc or two, to and fro, and follows a slow drift of axis 2 that a polar axis off by some minutes of
// arc makes. Invented.
const (
	pulse     = 1.5 * unit.Arcsecond
	driftRate = 0.02 * unit.Arcsecond // a second of time; 72″ an hour
)

// guide does what a guider did by an instant.
func (n *night) guide(until time.Time) {
	if !n.guiding || !n.mount.Following(n.Now()) {
		return
	}
	n.pulses++
	sway := unit.Angle(1 - 2*float64(n.pulses%2))
	drift := unit.Angle(until.Sub(n.Now()).Seconds()) * driftRate
	n.mount.Nudge(until, rig.Axes{A1: sway * pulse, A2: drift - sway*pulse})
}

// doMount does something to the mount that nobody asked keepclear about.
func (n *night) doMount(a *arguments) error {
	now := n.Now()
	done, w := true, a.next()
	switch w {
	case "power-dip":
		n.mount.PowerDip(now)
		n.uncounted = true
	case "slips":
		n.mount.Slip(now, rig.DegAxes(a.number(), a.number()))
	case "pushed": // by hand against its gears: an encoder sees it, and the counts
		n.mount.Nudge(now, rig.DegAxes(a.number(), a.number()))
	case "stops":
		n.mount.Stop(now)
	case "tracks":
		n.mount.Track(now)
	case "synced-by-another": // off by so much on each axis
		ra, dec, _ := n.mount.Belief(now)
		ra, dec = ra-unit.Deg(a.number()), dec+unit.Deg(a.number())
		if dec.Abs() > unit.HalfTurn/2 { // over the pole
			ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
		}
		n.mount.Sync(now, ra.Positive(), dec)
	case "slewed-by-another": // to a place of the catalogue, tracking there
		ra, dec := n.ofDate(question.Sky{RA: unit.Deg(a.number()), Dec: unit.Deg(a.number()), Frame: question.ICRS})
		n.mount.Slew(now, ra, dec, "", true)
		return errors.Join(a.done(), n.underWay(), n.send(decide.Report{}))
	case "flips": // by itself, to the same sky on the other side
		ra, dec, side := n.mount.Belief(now)
		n.mount.Slew(now, ra, dec, side.Other(), true)
		return errors.Join(a.done(), n.underWay(), n.send(decide.Report{}))
	case "hand-controller": // turns both axes
		n.mount.Jog(now, rig.DegAxes(a.number(), a.number()), nil, false)
		return errors.Join(a.done(), n.underWay(), n.send(decide.Report{}))
	default:
		done = n.setMount(a, w)
	}
	if !done {
		return fmt.Errorf("a mount does not do %q", w)
	}
	return a.done()
}

// setMount switches what lasts.
func (n *night) setMount(a *arguments, w string) bool {
	switch w {
	case "looks": // the camera's axis off the tube's
		n.mount.Boresight = rig.DegAxes(a.number(), a.number())
	case "clock": // ahead by so much
		n.mount.ClockAhead = a.duration()
	case "site": // where it takes itself to be: latitude, longitude
		n.mount.Site = question.Place{Lat: unit.Deg(a.number()), Lon: unit.Deg(a.number())}
	case "sticks": // axis 1 or 2
		k := int(a.number())
		n.mount.Stick(n.Now(), k == 1, k == 2)
	case "moves-freely":
		n.mount.Stick(n.Now(), false, false)
	case "aligned": // a person turned the bolts of the polar axis: it stands as the file says
		n.real.Tilt, n.real.Chain = n.rig.Tilt, n.rig.Chain
	case "home-sensor": // works, answers at once wherever the axes are (stuck-on), or never (stuck-off)
		n.sensor = a.next()
	case "silent":
		n.mount.Silent = true
	case "answers":
		n.mount.Silent = false
	case "never-flips":
		n.mount.NeverFlips = true
	case "counts-move-with-syncs":
		n.mount.CountsSync = true
	default:
		return false
	}
	return true
}
