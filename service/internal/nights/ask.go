package nights

import (
	"context"
	"fmt"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// ask asks a question; on an allow the mount does it, unless the line says "unmoved".
func (n *night) ask(a *arguments, want []string) error {
	if len(want) == 0 {
		return fmt.Errorf("what answer is wanted? -> allow, hold RULE or deny RULE")
	}
	act, do, err := n.action(a)
	if err != nil {
		return err
	}
	unmoved := a.take("unmoved")
	n.cut = 0
	if a.take("cut") { // the motion begins, and the night goes on in the middle of it
		n.cut = a.duration()
	}
	if err := a.done(); err != nil {
		return err
	}
	if err := n.question(act); err != nil {
		return err
	}
	if err := n.holds(want); err != nil {
		return err
	}
	if n.answer.Verdict != verdict.Allow || unmoved {
		return nil
	}
	return n.doAllowed(act, do)
}

// question puts one question with a fresh sample.
func (n *night) question(act question.Action) error {
	s, err := n.sample()
	if err != nil {
		s = nil
	}
	n.questions++
	q := question.Question{Rig: n.rig.ID, Action: act, Sample: s, Sent: n.Now(), At: n.Now(), Asker: "night", AttendedBy: n.person, BeginLater: n.later && act.Kind != question.Sync}
	if n.noSend {
		q.Sent = time.Time{}
	}
	if act.Kind != question.Sync {
		q.Replaces = n.permit
	}
	r := n.request()
	q.ID, q.Action.Message = r.ID, []byte("night")
	n.answer, err = n.d.Ask(context.Background(), q, r)
	return err
}

// holds holds the last answer against what is wanted: the verdict, then rules that must object, then words of the sentence.
func (n *night) holds(want []string) error {
	got := fmt.Sprintf("%s by %s: %s", n.answer.Verdict, strings.Join(objecting(n.answer), " "), n.answer.Sentence)
	if string(n.answer.Verdict) != want[0] {
		return fmt.Errorf("want %s, got %s", want[0], got)
	}
	for _, w := range want[1:] {
		switch {
		case strings.Contains(w, "/") && !strings.Contains(w, " "):
			if !contains(objecting(n.answer), w) {
				return fmt.Errorf("want an objection of %s, got %s", w, got)
			}
		case strings.HasPrefix(w, "instead:"):
			if len(n.answer.Instead) == 0 || string(n.answer.Instead[0].Kind) != strings.TrimPrefix(w, "instead:") {
				return fmt.Errorf("want %s, got %v", w, n.answer.Instead)
			}
		default:
			if !strings.Contains(n.answer.Sentence, w) && !saidAnywhere(n.answer, w) {
				return fmt.Errorf("want the words %q, got %s", w, got)
			}
		}
	}
	return nil
}

func saidAnywhere(a decide.Answer, words string) bool {
	for _, f := range a.Findings {
		if strings.Contains(f.Sentence, words) || strings.Contains(strings.Join(f.About, " "), words) {
			return true
		}
	}
	return false
}

func objecting(a decide.Answer) (out []string) {
	for _, f := range a.Findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			out = append(out, f.Rule)
		}
	}
	return out
}

func contains(all []string, one string) bool {
	for _, s := range all {
		if s == one {
			return true
		}
	}
	return false
}

// action reads an action and what the mount does when it is allowed.
func (n *night) action(a *arguments) (question.Action, func(), error) {
	switch kind := a.next(); kind {
	case "slew":
		act := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: unit.Deg(a.number()), Dec: unit.Deg(a.number()), Frame: question.ICRS}}
		if a.take("side") {
			act.Side = rig.Side(a.next())
		}
		n.follow(a, &act)
		return act, func() {
			ra, dec := n.ofDate(*act.Sky)
			n.mount.Slew(n.Now(), ra, dec, act.Side, act.Follow > 0)
		}, a.err
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
		by := rig.DegAxes(a.number(), a.number())
		act := question.Action{Kind: question.Jog, Axes: &by}
		if a.take("rate") {
			r := unit.Deg(a.number())
			act.Rate = &r
		}
		n.follow(a, &act)
		return act, func() { n.mount.Jog(n.Now(), by, act.Rate, act.Follow > 0) }, a.err
	case "home":
		act := question.Action{Kind: question.Home}
		if a.take("axis1-first") {
			act.Order = rig.Axis1First
		}
		if a.take("axis2-first") {
			act.Order = rig.Axis2First
		}
		return act, func() { n.mount.Home(n.Now(), act.Order) }, a.err
	case "park":
		rest, ok := n.rig.Rest("")
		if !ok {
			return question.Action{}, nil, fmt.Errorf("the rig file has no single place of rest")
		}
		return question.Action{Kind: question.Park}, func() { n.mount.Park(n.Now(), rest.Axes) }, a.err
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

func (n *night) follow(a *arguments, act *question.Action) {
	if a.take("track") {
		act.Follow = a.duration()
	}
}

// solve takes a picture of five seconds and solves it: truly, or false by a turn of the axes.
func (n *night) solve(a *arguments) (*question.Solve, error) {
	if err := n.send(decide.Report{}); err != nil {
		return nil, err
	}
	n.to(n.Now().Add(time.Second))
	start := n.Now()
	n.to(start.Add(7 * time.Second))
	v := n.camera.Picture(start, 5*time.Second)
	for len(a.words) > 0 && a.words[0] != "unmoved" && a.words[0] != "cut" {
		switch w := a.next(); w {
		case "false":
			v = n.camera.False(start, 5*time.Second, rig.DegAxes(a.number(), a.number()), 60)
		case "stars":
			k := int(a.number())
			v.Matched = &k
		case "hint":
			r := unit.Deg(a.number())
			v.Radius = &r
		case "no-residual":
			v.Residual = nil
		case "mirrored":
			yes := true
			v.Mirrored = &yes
		case "scale":
			p := *v.Pixel * unit.Angle(a.number())
			v.Pixel = &p
		case "turned":
			t := *v.Rotation + unit.Deg(a.number())
			v.Rotation = &t
		case "taken": // by a clock that is off
			v.Start = v.Start.Add(a.duration())
		case "again": // the picture judged last
			v.Picture = n.last().Picture
		default:
			a.fail("%q says nothing of a solve", w)
		}
	}
	return &v, a.err
}

// last is the solve judged last.
func (n *night) last() question.JudgedSolve {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil || len(v.State.Solves) == 0 {
		return question.JudgedSolve{}
	}
	return v.State.Solves[len(v.State.Solves)-1]
}

func (n *night) ofDate(s question.Sky) (ra, dec unit.Angle) {
	m, err := moment(n.Now())
	if err != nil {
		return 0, 0
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}

// doAllowed does what was allowed, as a good program would: begin where that is asked for, samples under way, the end told.
func (n *night) doAllowed(act question.Action, do func()) error {
	if n.answer.Leave != nil {
		do()
		n.to(n.Now().Add(500 * time.Millisecond))
		return n.send(decide.Report{Synced: &decide.SyncReport{Leave: n.answer.Leave.ID}})
	}
	n.permit = n.answer.Permit.ID
	if n.later {
		n.to(n.Now().Add(time.Second))
		if err := n.send(decide.Report{Begin: n.permit}); err != nil {
			return err
		}
	}
	do()
	if n.cut > 0 {
		n.to(n.Now().Add(n.cut))
		return nil
	}
	if err := n.underWay(); err != nil {
		return err
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

// underWay sends a sample every 1.5 s while the mount moves, and one when it is over.
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

// homed tells that the reference was found: by sensors, or, on a rig without them, by the person who attends.
func (n *night) homed() error {
	n.permit = ""
	closure := n.mount.Homed(n.Now())
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
