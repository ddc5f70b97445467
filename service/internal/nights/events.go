package nights

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// begin begins the permit that waits: "begin -> begun", or "begin -> refused" with words of the reason. "with homing X", the sample
// counts from another homing.
func (n *night) begin(a *arguments, want []word) error {
	r := decide.Report{Begin: n.permit}
	if a.take("with", "homing") {
		s, err := n.sample()
		if err != nil {
			return err
		}
		s.HomingID = a.next()
		r.Sample = s
	}
	if err := a.done(); err != nil {
		return err
	}
	if err := n.send(r); err != nil {
		return err
	}
	begun := n.told.Permit != nil && n.told.Permit.ID == r.Begin && n.told.Permit.State == question.Begun
	if len(want) == 0 || want[0].text != "begun" && want[0].text != "refused" || begun != (want[0].text == "begun") {
		return fmt.Errorf("want it %v, got permit %+v: %s", want, n.told.Permit, spoken(n.told.Notices))
	}
	for _, w := range want[1:] {
		if !strings.Contains(spoken(n.told.Notices), w.text) {
			return fmt.Errorf("want the words %q, got %s", w.text, spoken(n.told.Notices))
		}
	}
	if begun {
		return n.move()
	}
	return nil
}

// spoken gives notices as one text.
func spoken(all []pose.Notice) string {
	var out []string
	for _, x := range all {
		out = append(out, string(x.Kind)+": "+x.Sentence)
	}
	return strings.Join(out, " | ")
}

// reportSample reports one sample: as read now, or "late 20s" (read so long ago), "early 20s" (dated so far ahead), "again" (the last
// one once more), "of homing X", "reading 360 0" (off by so much, this once), "doing moving".
func (n *night) reportSample(a *arguments) error {
	s, err := n.sample()
	if err != nil {
		return err
	}
	for len(a.words) > 0 && a.err == nil {
		switch w := a.next(); w {
		case "late":
			s.Time = s.Time.Add(-a.duration())
		case "early":
			s.Time = s.Time.Add(a.duration())
		case "again":
			if s, err = n.lastSample(); err != nil {
				return err
			}
		case "homing":
			s.HomingID = a.next()
		case "reading":
			off := rig.DegAxes(a.number(), a.number())
			for i := range s.Readings {
				s.Readings[i].Axes = s.Readings[i].Axes.Add(off)
			}
		case "doing":
			s.Doing = question.Doing(strings.ReplaceAll(a.next(), "-", " "))
		default:
			a.fail("%q says nothing of a sample", w)
		}
	}
	return n.sendIf(a, decide.Report{Sample: s})
}

// lastSample is the sample that the service took in last.
func (n *night) lastSample() (*question.Sample, error) {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil {
		return nil, err
	}
	if v.State.Sample == nil {
		return nil, fmt.Errorf("no sample was taken in yet")
	}
	s := *v.State.Sample
	return &s, nil
}

// reportHomed tells that the reference was found; "closure D1 D2": the counts were off there by so much.
func (n *night) reportHomed(a *arguments) error {
	if !a.take("closure") {
		return errors.Join(a.done(), n.homed())
	}
	c := rig.DegAxes(a.number(), a.number())
	n.mount.Homed(n.Now())
	n.permit = ""
	return n.sendIf(a, decide.Report{Homed: &decide.HomedReport{Sensed: true, Closure: &c}})
}

func (n *night) endReport(a *arguments) *decide.EndReport {
	id := n.permit
	n.permit = ""
	return &decide.EndReport{Permit: id, How: pose.EndKind(a.rest())}
}

func (n *night) reportAct(a *arguments) error {
	return n.send(decide.Report{Act: &pose.Act{Kind: pose.ActKind(a.rest()), Person: orSomebody(n.person)}})
}

// lock sets a lock, as a person who walks in does: lock "reason".
func (n *night) lock(a *arguments) error {
	l, _, _, err := n.d.Lock(n.rig.ID, orSomebody(n.person), a.rest(), n.Now(), n.request())
	n.locks = append(n.locks, l.ID)
	return err
}

// release releases all locks: those that persons set, and ours.
func (n *night) release(a *arguments) error {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil {
		return err
	}
	var ids []string
	for _, l := range v.Locks {
		ids = append(ids, l.ID)
	}
	_, _, err = n.d.Release(ids, orSomebody(n.person), a.rest(), n.Now(), n.request())
	return err
}

// withdraw takes the leave back. It is recorded behind the caller's back: the night goes on once it is.
func (n *night) withdraw(a *arguments) error {
	recorded, err := n.rec.Follow(context.Background(), record.Filter{Chains: []string{n.rig.ID}, Kinds: []string{state.Withdrawn}}, nil)
	if err != nil {
		return err
	}
	if _, known := n.d.Withdraw(n.rig.ID, n.asker, a.rest(), n.request().Sent); !known {
		return fmt.Errorf("the rig is not known")
	}
	_, err = recorded.Next(context.Background())
	return err
}
