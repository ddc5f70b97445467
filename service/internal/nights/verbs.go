package nights

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// at lets the night go on until a time of day, UTC: the next one to come.
func (n *night) at(a *arguments, _ []string) error {
	w := a.next()
	t, err := time.Parse("15:04", w)
	if err != nil {
		return fmt.Errorf("%q is no time of day", w)
	}
	now := n.Now()
	until := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, time.UTC)
	if until.Before(now) {
		until = until.Add(24 * time.Hour)
	}
	return errors.Join(n.pass(until), a.done())
}

// wait lets time go by, with samples; "wait 5m silent" without.
func (n *night) wait(a *arguments, _ []string) error {
	d := a.duration()
	if a.take("silent") {
		n.to(n.Now().Add(d))
		return a.done()
	}
	return errors.Join(n.pass(n.Now().Add(d)), a.done())
}

// attended says who is there: attended NAME, or attended nobody.
func (n *night) attended(a *arguments, _ []string) error {
	n.person = strings.Join(a.words, " ")
	if n.person == "nobody" {
		n.person = ""
	}
	return nil
}

// setClock says what bounds the service's clock: network; "synchronised 4h before" for one offline since then; unknown.
func (n *night) setClock(a *arguments, _ []string) error {
	switch w := a.next(); w {
	case "network":
		n.clock = func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} }
	case "synchronised":
		good := n.Now().Add(-a.duration())
		a.take("before")
		n.clock = func(time.Time) question.Clock { return question.Clock{GoodAt: &good, GoodBoundS: 0.1} }
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

// samples says how samples come: "samples every 90s", "samples bare" (nothing but belief and readings), "samples whole".
func (n *night) samples(a *arguments, _ []string) error {
	switch w := a.next(); w {
	case "every":
		n.every = a.duration()
	case "bare":
		n.tidy = false
	case "whole":
		n.tidy = true
	default:
		return fmt.Errorf("samples every SPAN, bare or whole, not %q", w)
	}
	return a.done()
}

// setQuestions says how questions come: "questions begin later", "questions begin at once", "questions without sending time".
func (n *night) setQuestions(a *arguments, _ []string) error {
	switch w := strings.Join(a.words, " "); w {
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

// doMount does something to the mount that nobody asked keepclear about.
func (n *night) doMount(a *arguments, _ []string) error {
	now := n.Now()
	switch w := a.next(); w {
	case "looks": // the camera's axis off the tube's
		n.mount.Boresight = rig.DegAxes(a.number(), a.number())
	case "clock": // ahead by so much
		n.mount.ClockAhead = a.duration()
	case "power-dip":
		n.mount.PowerDip(now)
		n.uncounted = true
	case "slips":
		n.mount.Slip(now, rig.DegAxes(a.number(), a.number()))
	case "stops":
		n.mount.Stop(now)
	case "silent":
		n.mount.Silent = true
	case "answers":
		n.mount.Silent = false
	case "synced-by-another": // off by so much on each axis
		ra, dec, _ := n.mount.Belief(now)
		n.mount.Sync(now, (ra - unit.Deg(a.number())).Positive(), dec+unit.Deg(a.number()))
	case "hand-controller": // turns both axes
		n.mount.Jog(now, rig.DegAxes(a.number(), a.number()), nil, false)
		return errors.Join(n.underWay(), n.send(decide.Report{}), a.done())
	case "never-flips":
		n.mount.NeverFlips = true
	default:
		return fmt.Errorf("a mount does not do %q", w)
	}
	return a.done()
}

// report tells what a person did or saw.
func (n *night) report(a *arguments, _ []string) error {
	switch w := a.next(); w {
	case "homed":
		return errors.Join(n.homed(), a.done())
	case "seen": // a person states the pose
		h := &decide.HomedReport{Person: orSomebody(n.person)}
		if len(a.words) > 0 {
			at := rig.DegAxes(a.number(), a.number())
			h.At = &at
		}
		n.permit = ""
		return errors.Join(n.send(decide.Report{Homed: h}), a.done())
	case "proved":
		return errors.Join(n.send(decide.Report{Proved: &question.Proof{Person: orSomebody(n.person), RigDigest: n.rig.Digest, SignsChecked: true, ResidualMM: a.number()}}), a.done())
	case "act":
		return n.send(decide.Report{Act: &pose.Act{Kind: pose.ActKind(strings.Join(a.words, " ")), Person: orSomebody(n.person)}})
	case "sample":
		return errors.Join(n.send(decide.Report{}), a.done())
	case "old-sample": // one read so long ago arrives now
		s, err := n.sample()
		if err != nil {
			return err
		}
		s.Time = s.Time.Add(-a.duration())
		return errors.Join(n.send(decide.Report{Sample: s}), a.done())
	default:
		return fmt.Errorf("nothing is reported by %q", w)
	}
}

// expect holds what the service holds of the rig against the text.
func (n *night) expect(a *arguments, _ []string) error {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil {
		return err
	}
	switch w := a.next(); w {
	case "pose":
		if want := a.next(); string(v.Pose.State) != want {
			return fmt.Errorf("the pose is %s (%s)", v.Pose.State, v.Pose.Because)
		}
	case "candidates":
		if want := int(a.number()); len(v.Pose.Candidates) != want {
			return fmt.Errorf("there are %d: %v", len(v.Pose.Candidates), v.Pose.Candidates)
		}
	case "permit":
		return n.expectPermit(a, v)
	case "locks":
		if want := int(a.number()); len(v.Locks) != want {
			return fmt.Errorf("there are %d", len(v.Locks))
		}
	case "notice":
		return n.expectNotice(a.next())
	case "error": // of the pose held, on either axis, at most so many degrees
		return n.expectError(a.number(), v)
	default:
		return fmt.Errorf("nothing is expected of %q", w)
	}
	return a.done()
}

func (n *night) expectPermit(a *arguments, v decide.View) error {
	want := a.next()
	got := "none"
	if v.State.Permit != nil {
		got = string(v.State.Permit.State)
	}
	if got != want {
		return fmt.Errorf("the permit is %s", got)
	}
	return a.done()
}

func (n *night) expectNotice(words string) error {
	for _, x := range n.notices {
		if strings.Contains(string(x.Kind)+": "+x.Sentence, words) {
			return nil
		}
	}
	var said []string
	for _, x := range n.notices {
		said = append(said, string(x.Kind)+": "+x.Sentence)
	}
	return fmt.Errorf("no notice says %q; these came: %s", words, strings.Join(said, " | "))
}

// expectError holds the likeliest pose against where the simulated axes truly are.
func (n *night) expectError(most float64, v decide.View) error {
	if len(v.Pose.Candidates) == 0 {
		return fmt.Errorf("no pose is held")
	}
	if off := v.Pose.Candidates[0].Axes.Sub(n.mount.Axes(n.Now())).Abs().Max().Deg(); off > most {
		return fmt.Errorf("the pose held is %.2f° off", off)
	}
	return nil
}
