package season

import (
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// looked: a person states where the axes are, as seen.
func (n *night) looked() error {
	at := n.mount.Axes(n.now)
	return n.report(decide.Report{Homed: &decide.HomedReport{Person: person, At: &at}})
}

func (n *night) act(kind pose.ActKind) error {
	n.unproven = true
	return n.report(decide.Report{Act: &pose.Act{Kind: kind, Person: person}})
}

// align is a polar alignment: three pictures thirty degrees apart, after which a person turns the bolts, at once or between more pictures.
func (n *night) align() error {
	west := unit.Deg(-40)
	for range 3 {
		at, ok := n.place(west, unit.Deg(40+10*n.rng.Float64()))
		west += unit.Deg(30)
		if !ok {
			continue
		}
		if moved, err := n.slew(at, 10*time.Minute); err != nil || !moved {
			return err
		}
		if _, err := n.centre(); err != nil || n.away {
			n.away = false
			return err
		}
	}
	for i := range n.lot.Steps {
		n.part(float64(i+1) / float64(n.lot.Steps))
		if err := n.pass(minutes(n.table.draw(n.rng, "step_minutes"))); err != nil {
			return err
		}
		c, err := n.picture(n.lot.Blind)
		if err == nil && c != nil {
			_, err = n.sync(c) // whatever is said: the person is at the bolts, and goes by the picture
		}
		if err != nil {
			return err
		}
	}
	return n.adjust()
}

// part turns the bolts from where the axis stood at dusk toward where an alignment leaves it, by such a part of the way in all.
func (n *night) part(of float64) {
	from, to := n.lot.Errors.Polar, n.lot.Left.polar
	n.mount.Polar = rig.Tilt{East: from.East + unit.Angle(of)*(to.East-from.East), Up: from.Up + unit.Angle(of)*(to.Up-from.Up)}
	n.mount.Straighten()
	n.mount.Kick(n.lot.Lean.Scale(1 - of).Add(n.lot.Left.base.Scale(of)))
}

// adjust is a person at the bolts of the polar axis, or at the feet of the base: a little is left.
func (n *night) adjust() error {
	n.mount.Polar = n.lot.Left.polar
	n.mount.Straighten()
	n.mount.Kick(n.lot.Left.base)
	n.aligned, n.kicked = true, false
	return n.act(pose.PolarAxisAdjusted)
}

// comes is a person who comes, looks, and puts right what programs cannot; what was done to the rig is said.
func (n *night) comes(why string) error {
	n.score.visit(n.now, why)
	if err := n.stop(); err != nil {
		return err
	}
	if err := n.pass(minutes(n.table.draw(n.rng, "person_minutes"))); err != nil {
		return err
	}
	for _, mend := range []func() error{n.mendClock, n.mendSite, n.mendProgram, n.mendTripod, n.release, n.looked} {
		if err := mend(); err != nil {
			return err
		}
	}
	_, err := n.home()
	n.heldInARow = 0
	return err
}

func (n *night) mendClock() error {
	if n.wrongClocks() == 0 {
		return nil
	}
	n.mount.ClockAhead, n.skew = 0, 0
	return n.act(pose.ClockSet)
}

func (n *night) mendSite() error {
	if n.wrongSite() == 0 || n.rig.Site.Lon != n.real.Site.Lon { // a rig file that is wrong alike: nobody thinks of it
		return nil
	}
	n.mount.Site = question.Place{Lat: n.real.Site.Lat, Lon: n.real.Site.Lon}
	return n.act(pose.SiteSet)
}

func (n *night) mendProgram() error {
	n.mixesFrames = false
	return nil
}

func (n *night) mendTripod() error {
	if !n.kicked {
		return nil
	}
	if err := n.act(pose.TripodMoved); err != nil {
		return err
	}
	return n.adjust()
}

// release releases all locks.
func (n *night) release() error {
	if n.d == nil {
		return nil
	}
	v, err := n.d.LookAt(ctx, n.rig.ID, n.clock())
	if err != nil || len(v.Locks) == 0 {
		return err
	}
	var ids []string
	for _, l := range v.Locks {
		ids = append(ids, l.ID)
	}
	_, _, err = n.d.Release(ids, person, "looked at the rig", n.clock(), n.request())
	return err
}

// wantsAlignment tells whether the pose waits for the polar axis to be aligned.
func (n *night) wantsAlignment() (bool, error) {
	if n.d == nil {
		return false, nil
	}
	p, err := n.d.Where(n.rig.ID, n.clock())
	return strings.Contains(p.Because, "align"), err
}
