package season

import (
	"context"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

var ctx = context.Background()

// Gate says whether a solve may be taken as a sync. One without a judge of its own is keepclear.
type Gate struct {
	Name string
	// judge goes by the solve, the angle between it and the mount's belief, and the solve asked about before with the time since.
	judge func(now, before *claim, offset unit.Angle, since time.Duration) bool
}

// Ours is keepclear.
const Ours = "keepclear"

// Gates are keepclear and three obvious gates beside it.
func Gates() []Gate {
	return []Gate{
		{Name: Ours},
		{Name: "accept everything", judge: func(*claim, *claim, unit.Angle, time.Duration) bool { return true }},
		{Name: "within 1° of belief", judge: func(_, _ *claim, off unit.Angle, _ time.Duration) bool { return off < unit.Degree }},
		{Name: "two in a row agree", judge: twoAgree},
	}
}

// GateNames lists the gates.
func GateNames() (out []string) {
	for _, g := range Gates() {
		out = append(out, g.Name)
	}
	return out
}

// GateNamed returns one of them.
func GateNamed(name string) (Gate, bool) {
	for _, g := range Gates() {
		if g.Name == name {
			return g, true
		}
	}
	return Gate{}, false
}

// twoAgree wants two pictures in a row, within five minutes, that agree within 10′.
func twoAgree(now, before *claim, _ unit.Angle, since time.Duration) bool {
	if before == nil || since > 5*time.Minute {
		return false
	}
	return apart(now.solve.Sky.RA, now.solve.Sky.Dec, before.solve.Sky.RA, before.solve.Sky.Dec) < 10*unit.Arcminute
}

// outcome is what became of a solve.
type outcome struct {
	allowed bool
	denied  bool
	poor    bool // for nothing but the picture's quality: thin cloud, say
	needs   []verdict.Need
}

// sync asks whether a solve may be taken, and tells the mount to if so.
func (n *night) sync(c *claim) (outcome, error) {
	before, at := n.last, n.lastAt
	n.last, n.lastAt = c, n.now
	ra, dec := n.ofDate(c.solve.Sky)
	off, _ := n.mount.BeliefError(n.now)
	n.before, n.poseState = off.Deg(), n.poseNow().State
	if n.d == nil {
		bra, bdec, _ := n.mount.Belief(n.now)
		ok := n.gate.judge(c, before, apart(ra, dec, bra, bdec), n.now.Sub(at))
		a := decide.Answer{Verdict: verdict.Hold}
		if ok {
			a.Verdict = verdict.Allow
			n.mount.Sync(n.now, ra, dec)
		}
		n.score.asked(n, c, a)
		return outcome{allowed: ok}, nil
	}
	v := c.solve
	a, err := n.ask(question.Action{Kind: question.Sync, Solve: &v})
	if err != nil {
		return outcome{}, err
	}
	o := outcome{allowed: a.Verdict == verdict.Allow && a.Leave != nil, denied: a.Verdict == verdict.Deny, poor: poor(a.Findings), needs: a.Needs}
	if o.allowed {
		n.mount.Sync(n.now, ra, dec)
	}
	n.score.asked(n, c, a)
	if o.allowed {
		n.to(n.now.Add(500 * time.Millisecond))
		err = n.report(decide.Report{Synced: &decide.SyncReport{Leave: a.Leave.ID}})
	}
	return o, err
}

// poor tells whether nothing but the quality of the picture stood in the way.
func poor(all []verdict.Finding) bool {
	n := 0
	for _, f := range all {
		switch {
		case f.Effect != verdict.Holds && f.Effect != verdict.Denies:
		case f.Rule != "solve/quality":
			return false
		default:
			n++
		}
	}
	return n > 0
}

// centre takes a picture and asks for the sync; where that is held or denied it does what the answer says, a few times.
func (n *night) centre() (bool, error) {
	blind := n.lot.Blind || n.d != nil && n.unproven
	for try := range 4 {
		c, err := n.picture(blind)
		if err != nil {
			return false, err
		}
		if c == nil { // it did not solve
			blind = blind || try > 0
			if err := n.pass(10 * time.Second); err != nil {
				return false, err
			}
			continue
		}
		o, err := n.sync(c)
		if err != nil || o.allowed {
			n.heldInARow, n.unproven = 0, n.unproven && !o.allowed
			return o.allowed, err
		}
		again, err := n.settle(o)
		if err != nil || !again {
			return false, err
		}
		blind = n.d != nil || blind
	}
	return false, nil
}

// lasting is after how many solves in a row that were not allowed a person is called. Invented.
const lasting = 6

// settle does what an answer says would end a hold, and tells whether another picture is to be taken here.
func (n *night) settle(o outcome) (bool, error) {
	if o.poor { // thin cloud: a program goes on, and takes its next picture when that is due
		return false, n.pass(time.Minute)
	}
	n.heldInARow++
	if n.d == nil || o.denied && n.heldInARow < 2 {
		return true, nil
	}
	align, err := n.wantsAlignment()
	switch {
	case err != nil:
		return false, err
	case wants(o.needs, verdict.NeedRelease, verdict.NeedClock, verdict.NeedSite):
		n.away = true
		return false, n.comes("needed: " + string(o.needs[0].Kind))
	case align:
		if err := n.pass(minutes(n.table.draw(n.rng, "person_minutes"))); err != nil {
			return false, err
		}
		return true, n.adjust()
	case n.heldInARow >= lasting:
		n.away = true
		return false, n.comes("held for long")
	case wants(o.needs, verdict.NeedHoming):
		n.away = true
		_, err := n.home()
		return false, err
	case o.denied, wants(o.needs, verdict.NeedSecondSolve): // a second denial, too, is a reason to look elsewhere
		return n.moveOn()
	}
	return true, n.pass(20 * time.Second)
}

// moveOn is the deliberate move that makes the next picture a witness of its own: more than a field, slowly.
func (n *night) moveOn() (bool, error) {
	field := max(2*unit.Degree, unit.Angle(1.6)*unit.Deg(*n.rig.Optics[0].WidthDeg))
	slowly := 0.5 * unit.Degree
	n.strayed = true
	for _, by := range []unit.Angle{-field, field} {
		turn := n.mount.Lost(n.now).Scale(0)
		turn.A2 = by
		act := question.Action{Kind: question.Jog, Axes: &turn, Rate: &slowly, Follow: 10 * time.Minute}
		if ok, err := n.move(act, func() { n.mount.Jog(n.now, turn, &slowly, true) }); ok || err != nil {
			return ok, err
		}
	}
	return false, nil
}
