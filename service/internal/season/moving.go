package season

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/verdict"
)

// stop stops the mount, which needs no leave, and says so.
func (n *night) stop() error {
	n.mount.Stop(n.now)
	id := n.permit
	n.permit = ""
	if id == "" {
		return n.report(decide.Report{})
	}
	return n.report(decide.Report{End: &decide.EndReport{Permit: id, How: pose.Stopped}})
}

// wants tells whether one of these is needed.
func wants(needs []verdict.Need, kinds ...verdict.NeedKind) bool {
	return slices.ContainsFunc(needs, func(n verdict.Need) bool { return slices.Contains(kinds, n.Kind) })
}

// flip takes the tube to the other side of the pier, and centres again.
func (n *night) flip(at place) (bool, error) {
	ra, dec, side := n.mount.Belief(n.now)
	ok, err := n.move(question.Action{Kind: question.Flip, Follow: 10 * time.Minute}, func() { n.mount.Slew(n.now, ra, dec, side.Other(), true) })
	if err != nil || !ok {
		return false, err
	}
	if done, err := n.centre(); err != nil || !done && !n.strayed {
		return true, err
	}
	n.strayed = false
	return n.slew(at, 10*time.Minute)
}

// slew goes to a place of date and follows it.
func (n *night) slew(to place, follow time.Duration) (bool, error) {
	act := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: to.ra, Dec: to.dec, Frame: question.OfDate}, Follow: follow}
	n.leaves()
	n.halted = false
	ok, err := n.move(act, func() { n.mount.Slew(n.now, to.ra, to.dec, "", follow > 0) })
	if ok && err == nil && !n.halted { // one that a slip ended did not end by what syncs did to belief
		n.arrived(to)
	}
	return ok, err
}

// home homes the rig: by its sensor, or a person says that it stands at its marks.
func (n *night) home() (bool, error) {
	if err := n.stop(); err != nil {
		return false, err
	}
	ok, err := n.move(question.Action{Kind: question.Home}, func() { n.mount.Home(n.now, "") })
	if !ok || err != nil {
		return false, err
	}
	truly := n.mount.Axes(n.now).Sub(n.rig.Home)
	closure := n.mount.Homed(n.now)
	n.permit, n.physical = "", false
	if n.rig.Sources[0].Kind == rig.AxisEncoder {
		closure = truly
	}
	h := &decide.HomedReport{Sensed: n.rig.Homing.By == rig.BySensor, Person: person}
	if h.Sensed && n.earlier == 0 {
		h.Person = ""
	}
	if h.Sensed {
		h.Closure = &closure
	}
	n.unproven = true
	n.score.homed(n)
	return true, n.report(decide.Report{Homed: h})
}

// retreat goes home by axes at the end.
func (n *night) retreat() error {
	home := n.rig.Home
	if _, err := n.move(question.Action{Kind: question.Retreat, Axes: &home}, func() { n.mount.SlewAxes(n.now, home) }); err != nil {
		return err
	}
	return n.stop()
}

// move asks for a motion and does it if that is allowed; by a gate that judges no motions it is simply done.
func (n *night) move(act question.Action, do func()) (bool, error) {
	if n.d != nil {
		a, err := n.ask(act)
		if err != nil {
			return false, err
		}
		n.score.motion(n, act, a)
		if n.needs = a.Needs; a.Verdict != verdict.Allow || a.Permit == nil {
			return false, nil
		}
		n.permit = a.Permit.ID
	}
	do()
	if err := n.underWay(); err != nil {
		return false, err
	}
	if act.Kind == question.Home {
		return true, nil
	}
	if act.Follow > 0 {
		return true, n.report(decide.Report{})
	}
	id := n.permit
	n.permit = ""
	return true, n.report(decide.Report{End: &decide.EndReport{Permit: id, How: pose.Done}})
}

// underWay sends samples while the mount moves, and waits a second when it is over. Halfway it is noted where a picture would look that
// somebody took then.
func (n *night) underWay() error {
	half := n.now.Add(n.mount.Arrival(n.now).Sub(n.now) / 2)
	for n.mount.Moving(n.now) {
		was := n.now
		n.to(n.now.Add(4 * time.Second))
		if !half.Before(was) && half.Before(n.now) {
			n.midway()
		}
		if err := n.report(decide.Report{}); err != nil {
			return err
		}
	}
	n.to(n.now.Add(time.Second))
	return nil
}
