package nights

import (
	"context"
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// ask asks a question; on an allow the mount does it, unless the line says otherwise.
func (n *night) ask(a *arguments, want []word) error {
	w, err := readWants(want)
	if err != nil {
		return err
	}
	act, do, err := n.action(a)
	if err != nil {
		return err
	}
	n.how(a)
	if err := a.done(); err != nil {
		return err
	}
	if err := n.question(act); err != nil {
		return err
	}
	if err := w.hold(n.answer); err != nil {
		return err
	}
	if err := n.onRecord(n.asked.req.ID, n.answer); err != nil {
		return err
	}
	if n.answer.Verdict != verdict.Allow || n.asked.how == unmoved {
		return nil
	}
	return n.doAllowed(act, do)
}

// What a program does with an allow, beside what a good one does.
const (
	unmoved   = "unmoved"   // nothing: it forgets, or the command is lost
	waiting   = "waiting"   // it waits before it begins
	cut       = "cut"       // it begins, and the night goes on in the middle
	untold    = "untold"    // it does it and tells nothing afterwards
	unwatch   = "unseen"    // it does it and sends no samples under way
	alongside = "alongside" // it does not know of an open permit, so it names none as replaced
)

// how reads the words behind an action.
func (n *night) how(a *arguments) {
	n.asked.how, n.asked.cut, n.asked.alone = "", 0, false
	for len(a.words) > 0 && a.err == nil {
		switch w := a.next(); w {
		case cut:
			n.asked.how, n.asked.cut = w, a.duration()
		case unmoved, waiting, untold, unwatch:
			n.asked.how = w
		case alongside:
			n.asked.alone = true
		default:
			a.fail("not understood: %q", w)
		}
	}
}

// question puts one question with a fresh sample.
func (n *night) question(act question.Action) error {
	s, err := n.sample()
	if err != nil {
		s = nil
	}
	n.questions++
	q := question.Question{Rig: n.rig.ID, Action: act, Sample: s, Sent: n.Now().Add(n.skew), At: n.Now(), Asker: n.asker, AttendedBy: n.person,
		BeginLater: n.later && act.Kind != question.Sync}
	if n.noSend {
		q.Sent = time.Time{}
	}
	if act.Kind != question.Sync && !n.asked.alone {
		q.Replaces = n.permit
	}
	r := n.request()
	q.ID, q.Action.Message = r.ID, []byte("night")
	n.asked.q, n.asked.req = q, r
	n.answer, err = n.d.Ask(context.Background(), q, r)
	return err
}

// again sends the last question once more, byte for byte, as a program does whose reply was lost.
func (n *night) again(a *arguments, want []word) error {
	w, err := readWants(want)
	if err != nil {
		return err
	}
	before := n.answer
	got, err := n.d.Ask(context.Background(), n.asked.q, n.asked.req)
	switch {
	case err != nil:
		return err
	case !got.Repeated || string(got.Stored.Bytes) != describe(before) || before.Verdict != w.verdict:
		return fmt.Errorf("want the answer of then, %s, got %q", describe(before), got.Stored.Bytes)
	case (got.Permit == nil) != (before.Permit == nil) || got.Permit != nil && got.Permit.ID != before.Permit.ID:
		return fmt.Errorf("want permit %v, got %v", before.Permit, got.Permit)
	}
	return a.done()
}

// action reads an action and what the mount does when it is allowed.
func (n *night) action(a *arguments) (question.Action, func(), error) {
	switch kind := a.next(); kind {
	case "slew":
		return n.slew(a)
	case "axes":
		to := rig.DegAxes(a.number(), a.number())
		act := question.Action{Kind: question.Slew, Axes: &to}
		if decide.Retreats(n.rig, to) {
			act.Kind = question.Retreat
		}
		return act, func() { n.mount.SlewAxes(n.Now(), to) }, a.err
	case "track":
		act := question.Action{Kind: question.Track, Follow: a.duration()}
		return act, func() { n.mount.Track(n.Now()) }, a.err
	case "jog":
		return n.jog(a)
	case "creep":
		act, move, err := n.jog(a)
		act.Kind = question.Creep
		return act, move, err
	case "home":
		act := question.Action{Kind: question.Home}
		for word, order := range map[string]rig.Sharing{"axis1-first": rig.Axis1First, "axis2-first": rig.Axis2First} {
			if a.take(word) {
				act.Order = order
			}
		}
		return act, func() { n.home(act.Order) }, a.err
	case "park":
		return n.park(a)
	case "flip":
		act := question.Action{Kind: question.Flip}
		n.follow(a, &act)
		return act, func() {
			ra, dec, side := n.mount.Belief(n.Now())
			n.mount.Slew(n.Now(), ra, dec, side.Other(), act.Follow > 0)
		}, a.err
	case "sync":
		v, err := n.solve(a)
		return question.Action{Kind: question.Sync, Solve: v}, func() {
			ra, dec := n.ofDate(v.Sky)
			n.mount.Sync(n.Now(), ra, dec)
		}, err
	default:
		return question.Action{}, nil, fmt.Errorf("there is no question %q", kind)
	}
}

// slew reads a slew by sky: slew RA DEC [icrs|of-date] [side east] [track 60m]. The mount goes where the question says.
func (n *night) slew(a *arguments) (question.Action, func(), error) {
	act := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: unit.Deg(a.number()), Dec: unit.Deg(a.number()), Frame: question.ICRS}}
	if !a.take("icrs") && a.take("of-date") {
		act.Sky.Frame = question.OfDate
	}
	if a.take("side") {
		act.Side = rig.Side(a.next())
	}
	n.follow(a, &act)
	return act, func() {
		ra, dec := n.ofDate(*act.Sky)
		n.mount.Slew(n.Now(), ra, dec, act.Side, act.Follow > 0)
	}, a.err
}

func (n *night) jog(a *arguments) (question.Action, func(), error) {
	by := rig.DegAxes(a.number(), a.number())
	act := question.Action{Kind: question.Jog, Axes: &by}
	if a.take("rate") {
		r := unit.Deg(a.number())
		act.Rate = &r
	}
	n.follow(a, &act)
	return act, func() { n.mount.Jog(n.Now(), by, act.Rate, act.Follow > 0) }, a.err
}

// park reads park [at PLACE]: the mount's own park, which goes by its belief.
func (n *night) park(a *arguments) (question.Action, func(), error) {
	act := question.Action{Kind: question.Park}
	if a.take("at") {
		act.Place = a.next()
	}
	rest, ok := n.rig.Rest(act.Place)
	if !ok {
		return act, nil, fmt.Errorf("the rig file has no place of rest %q, or several", act.Place)
	}
	return act, func() { n.mount.Park(n.Now(), rest.Axes) }, a.err
}

func (n *night) follow(a *arguments, act *question.Action) {
	if a.take("track") {
		act.Follow = a.duration()
	}
}

// doAllowed does what was allowed, as a good program would: begin where that is asked for, samples under way, the end told.
func (n *night) doAllowed(act question.Action, do func()) error {
	if n.answer.Leave != nil {
		do()
		n.to(n.Now().Add(500 * time.Millisecond))
		return n.send(decide.Report{Synced: &decide.SyncReport{Leave: n.answer.Leave.ID}})
	}
	n.permit, n.asked.act, n.asked.do = n.answer.Permit.ID, act, do
	if n.asked.how == waiting {
		return nil
	}
	if n.later {
		n.to(n.Now().Add(time.Second))
		if err := n.send(decide.Report{Begin: n.permit}); err != nil {
			return err
		}
	}
	return n.move()
}

// move does the motion of the last allow.
func (n *night) move() error {
	act := n.asked.act
	n.asked.do()
	switch n.asked.how {
	case cut:
		n.to(n.Now().Add(n.asked.cut))
		return nil
	case unwatch:
		n.to(n.mount.Arrival(n.Now()).Add(time.Second))
	default:
		if err := n.underWay(); err != nil {
			return err
		}
	}
	if n.asked.how == untold {
		return n.send(decide.Report{})
	}
	if act.Kind == question.Home {
		return n.homed()
	}
	if act.Follow > 0 || act.Kind == question.Track {
		return n.send(decide.Report{})
	}
	err := n.send(decide.Report{End: &decide.EndReport{Permit: n.permit, How: pose.Done}})
	n.permit = ""
	return err
}

// underWay sends a sample every 1.5 s while the mount moves, and waits a second when it is over.
func (n *night) underWay() error {
	for n.mount.Moving(n.Now()) {
		n.to(n.Now().Add(1500 * time.Millisecond))
		if err := n.send(decide.Report{}); err != nil {
			return err
		}
	}
	n.to(n.Now().Add(time.Second))
	return nil
}

// stuckOff and stuckOn are faults of a home sensor: it never answers, or always.
const (
	stuckOff = "stuck-off"
	stuckOn  = "stuck-on"
)

// home lets the mount look for its reference: with a sensor that answers always it stays, with one that never answers it runs on past
// home, as far as it searches.
func (n *night) home(order rig.Sharing) {
	switch n.sensor {
	case stuckOn:
	case stuckOff:
		n.mount.SlewAxes(n.Now(), n.rig.Home.Sub(n.rig.Homing.Search))
	default:
		n.mount.Home(n.Now(), order)
	}
}

// homed tells that the reference was found: by sensors, or, on a rig without them, by the person who attends.
func (n *night) homed() error {
	if n.sensor == stuckOff {
		id := n.permit
		n.permit = ""
		return n.send(decide.Report{End: &decide.EndReport{Permit: id, How: pose.Failed}})
	}
	n.permit = ""
	truly := n.mount.Axes(n.Now()).Sub(n.rig.Home)
	closure := n.mount.Homed(n.Now())
	if n.rig.Sources[0].Kind == rig.AxisEncoder { // that is what counts then
		closure = truly
	}
	r := decide.HomedReport{Sensed: n.rig.Homing.By == rig.BySensor}
	if r.Sensed && !n.uncounted {
		r.Closure = &closure
	}
	n.uncounted = false
	if !r.Sensed {
		r.Person = orSomebody(n.person)
	}
	return n.send(decide.Report{Homed: &r})
}

func orSomebody(p string) string {
	if p == "" {
		return "somebody"
	}
	return p
}
