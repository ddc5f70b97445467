package nights

import (
	"context"
	"fmt"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// distortions are what the asker's samples are, other than what the mount tells.
type distortions struct {
	bare    bool               // belief and readings alone
	frozen  []question.Reading // readings stay these
	off     rig.Axes           // readings are off by so much
	offOf   rig.SourceKind     // of this source alone; empty: all
	without map[string]bool    // belief, side, readings, doing, a kind of source
	homing  string             // they count from this homing
	mark    string             // the mount's run mark
	icrs    bool               // belief is told in ICRS
}

// setSamples says how samples come: "samples every 90s", "samples bare" (nothing but belief and readings), "samples frozen" (readings
// that stand still), "samples off 360 0" (readings off by so much; behind it a source, if only one is), "samples without
// belief|side|readings|doing" or a source in quotes, "samples of homing X", "samples of run X" (the run mark), "samples in icrs" (belief is), "samples whole".
func (n *night) setSamples(a *arguments) error {
	switch w := a.next(); w {
	case "every":
		n.every = a.duration()
		if n.every <= 0 {
			return fmt.Errorf("samples come every so often: a length of time above zero")
		}
	case "bare":
		n.samples.bare = true
	case "frozen":
		s, err := n.mount.Sample(n.Now())
		if err != nil {
			return err
		}
		n.samples.frozen = s.Readings
	case "off":
		n.samples.off, n.samples.offOf = rig.DegAxes(a.number(), a.number()), rig.SourceKind(a.rest())
		if k := n.samples.offOf; k != "" && k != rig.AxisEncoder && k != rig.MotorCount {
			return fmt.Errorf("%q reads nothing", k)
		}
	case "without":
		n.samples.without = map[string]bool{a.next(): true}
	case "of":
		if a.take("homing") {
			n.samples.homing = a.next()
		} else if a.take("run") {
			n.samples.mark = a.next()
		}
	case "in":
		n.samples.icrs = a.take("icrs")
		if !n.samples.icrs {
			return fmt.Errorf("samples in icrs: of date they are by themselves")
		}
	case "whole":
		n.samples = distortions{}
	default:
		return fmt.Errorf("samples every SPAN, bare, frozen, off, without, of, in icrs or whole, not %q", w)
	}
	return a.done()
}

// sample reads the mount, by the asker's clock.
func (n *night) sample() (*question.Sample, error) {
	s, err := n.mount.Sample(n.Now())
	if err != nil {
		return nil, err
	}
	s.Time = s.Time.Add(n.skew)
	d := n.samples
	if d.bare {
		s.RunMark, s.Sequence, s.SyncCount, s.Sidereal, s.Site = "", nil, nil, nil, nil
	}
	if d.homing != "" {
		s.HomingID = d.homing
	}
	if d.mark != "" {
		s.RunMark = d.mark
	}
	if d.frozen != nil {
		s.Readings = slices.Clone(d.frozen)
	}
	for i := range s.Readings {
		if d.offOf == "" || d.offOf == s.Readings[i].Source {
			s.Readings[i].Axes = s.Readings[i].Axes.Add(d.off)
		}
	}
	s.Readings = slices.DeleteFunc(s.Readings, func(r question.Reading) bool { return d.without[string(r.Source)] })
	if d.without["belief"] {
		s.Belief = nil
	}
	if s.Belief != nil && d.icrs {
		m, err := moment(s.Time)
		if err != nil {
			return nil, err
		}
		b := *s.Belief
		b.Sky.RA, b.Sky.Dec = m.ICRS(frame.FromLonLat[frame.Date](b.Sky.RA, b.Sky.Dec)).LonLat()
		b.Sky.Frame = question.ICRS
		s.Belief = &b
	}
	if d.without["side"] && s.Belief != nil {
		s.Belief.Side = ""
	}
	if d.without["clock"] {
		s.Sidereal = nil
	}
	if d.without["site"] {
		s.Site = nil
	}
	if d.without["readings"] {
		s.Readings = nil
	}
	if d.without["doing"] {
		s.Doing = ""
	}
	return &s, nil
}

// send reports an event with a fresh sample. A silent mount's event goes without one, and without an event there is nothing to send.
func (n *night) send(r decide.Report) error {
	r.Rig, r.Asker, r.At, r.Sent = n.rig.ID, n.asker, n.Now(), n.Now().Add(n.skew)
	if r.Sample == nil {
		s, err := n.sample()
		if err != nil && !hasEvent(r) {
			return nil
		}
		if err == nil {
			r.Sample = s
		}
	}
	out, err := n.d.Report(context.Background(), r, n.request())
	if err != nil {
		return err
	}
	n.told = out
	n.notices = append(n.notices, out.Notices...)
	return nil
}

func hasEvent(r decide.Report) bool {
	return r.Begin != "" || r.End != nil || r.Homed != nil || r.Synced != nil || r.Act != nil || r.Proved != nil || r.Limit != nil
}

// pass lets time go by, with a sample now and then.
func (n *night) pass(until time.Time) error {
	for n.Now().Before(until) {
		next := n.Now().Add(n.every)
		if next.After(until) {
			next = until
		}
		n.guide(next)
		n.to(next)
		if err := n.send(decide.Report{}); err != nil {
			return err
		}
	}
	return nil
}

// passTo lets the night go on until a time of day, UTC: the next one to come.
func (n *night) passTo(clock string) error {
	t, ok := timeOfDay(clock)
	if !ok {
		return fmt.Errorf("%q is no time of day", clock)
	}
	now := n.Now()
	until := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	if until.Before(now) {
		until = until.Add(24 * time.Hour)
	}
	if until.Sub(now) > 20*time.Hour {
		return fmt.Errorf("it is %s already", now.Format("15:04:05"))
	}
	return n.pass(until)
}

// report tells what a person or program did or saw.
func (n *night) report(a *arguments) error {
	switch w := a.next(); w {
	case "sample":
		return n.reportSample(a)
	case "homed":
		return n.reportHomed(a)
	case "seen": // a person states the pose
		h := &decide.HomedReport{Person: orSomebody(n.person)}
		switch {
		case a.take("truly"):
			at := n.mount.Axes(n.Now())
			h.At = &at
		case a.numbered():
			at := rig.DegAxes(a.number(), a.number())
			h.At = &at
		}
		n.permit = ""
		return n.sendIf(a, decide.Report{Homed: h})
	case "proved":
		return n.sendIf(a, decide.Report{Proved: &question.Proof{Person: orSomebody(n.person), RigDigest: n.rig.Digest, SignsChecked: true, ResidualMM: a.number()}})
	case "end":
		return n.sendIf(a, decide.Report{End: n.endReport(a)})
	case "sync": // with no leave; "report sync refused": the mount did not take it
		s := &decide.SyncReport{Refused: a.take("refused")}
		if s.Refused && n.answer.Leave != nil {
			s.Leave = n.answer.Leave.ID
		}
		return n.sendIf(a, decide.Report{Synced: s})
	case "limit": // the mount's limit, as seen
		return n.sendIf(a, decide.Report{Limit: &question.MountLimit{Axis: int(a.number()), Limit: rig.DegAxes(a.number(), 0).A1}})
	case "act":
		return n.reportAct(a)
	default:
		return fmt.Errorf("nothing is reported by %q", w)
	}
}

// sendIf sends a report whose line was understood.
func (n *night) sendIf(a *arguments, r decide.Report) error {
	if err := a.done(); err != nil {
		return err
	}
	return n.send(r)
}
