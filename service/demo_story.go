package main

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// target is a place on the sky of the invented night, ICRS degrees.
type target struct{ ra, dec float64 }

var (
	first  = target{38.20, 61.45}
	second = target{23.46, 30.66}
	third  = target{56.75, 24.12}
	fourth = target{152.1, 12.0}
)

func (t target) String() string { return fmt.Sprintf("%.2f°, %+.2f°", t.ra, t.dec) }

func (t target) sky() *pb.SkyPosition { return keepclear.ICRS(t.ra, t.dec) }

// utc is an instant of the night, by the hour and minute of UTC; hours past 24 are the next day's.
func utc(hour, minute int) time.Time {
	return time.Date(2026, 11, 14, hour, minute, 0, 0, time.UTC)
}

// opening says what is about to be seen.
func (n *night) opening() {
	n.say(0, "%s", "One night at an invented place: a mill garden at 46.20° N, 11.10° E, 640 m, 14 to 15 November 2026, local time UTC+1. The rig \"heron\" is simulated and invented too: a German equatorial on a tripod. The service, its rules, its proofs and its record are the real ones; every number below is computed.")
	n.say(0, "Record: %s", n.record)
}

// evening: rehearsal, homing, the first target, the first sync, and a track that must end early.
func (n *night) evening() {
	n.chapter("Evening")
	n.rehearse()
	n.tell(person+" looks at the rig: weights down, tube at the pole; says so", &pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: person}}})
	residual := 4.0
	n.tell(person+" turned both axes a few degrees and measured the gaps: proved, 4 mm off at worst", &pb.ReportRequest{Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: person, RigSha256: n.rig.Digest[:], SignsChecked: true, ResidualMm: &residual}}})
	n.home(&pb.Home{}, "May it home?", keepclear.Allow, true)

	n.pass(utc(18, 38))
	n.slew("May it slew to "+first.String()+" and track 15 min?", first, 15*time.Minute, keepclear.Allow)
	n.sync("May the first solve of the night be believed?", n.picture(nil), keepclear.Allow)
	n.track("May it track for 3 h?", 3*time.Hour, keepclear.Deny)
}

// rehearse asks for the whole plan before bed.
func (n *night) rehearse() {
	n.say(0, "%s  Rehearsing tonight's four targets", local(n.clock.Now()))
	for _, p := range []struct {
		t     target
		at    time.Time
		track time.Duration
	}{{first, utc(18, 38), 3 * time.Hour}, {second, utc(20, 40), 55 * time.Minute}, {third, utc(23, 40), 3 * time.Hour}, {fourth, utc(26, 45), 2 * time.Hour}} {
		action := &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: p.t.sky()}, TrackDuration: durationpb.New(p.track)}}}
		r, err := pb.NewRehearsalServiceClient(n.conn).Rehearse(n.ctx, &pb.RehearseRequest{
			Rig: "heron", Asker: "demo", Steps: []*pb.RehearsalStep{{Action: action, StartTime: timestamppb.New(p.at)}},
		})
		if err != nil {
			n.wrong = append(n.wrong, "rehearsal: "+err.Error())
			return
		}
		step := r.GetSteps()[0]
		j := step.GetOutlook()
		n.say(7, "%s from %s, track %s: %s %s", p.t, local(p.at), hoursMinutes(p.track), outlookWord(j.GetVerdict()), untilWords(step))
		want := pb.Verdict_VERDICT_ALLOW
		if p.t == first {
			want = pb.Verdict_VERDICT_DENY
			n.say(9, "%s", j.GetSentence())
		}
		if j.GetVerdict() != want {
			n.wrong = append(n.wrong, fmt.Sprintf("rehearsal of %s: %s: %s", p.t, j.GetVerdict(), j.GetSentence()))
		}
	}
}

func outlookWord(v pb.Verdict) string {
	return map[pb.Verdict]string{pb.Verdict_VERDICT_ALLOW: "would pass.", pb.Verdict_VERDICT_DENY: "would be DENIED.", pb.Verdict_VERDICT_HOLD: "would be HELD."}[v]
}

func untilWords(s *pb.RehearsedStep) string {
	u := s.GetPassesUntilTime()
	if u == nil {
		return ""
	}
	return "It could track until " + local(u.AsTime()) + "."
}

func hoursMinutes(d time.Duration) string {
	return fmt.Sprintf("%d:%02d h", int(d.Hours()), int(d.Minutes())%60)
}

// home asks for a homing and does it; known tells whether the counters counted before.
func (n *night) home(h *pb.Home, asked string, want keepclear.Verdict, known bool) keepclear.Answer {
	a := n.step(asked, n.handle.Ask(n.ctx, &pb.Action{Kind: &pb.Action_Home{Home: h}}), want)
	if a.Verdict != keepclear.Allow {
		return a
	}
	order := map[pb.AxisOrder]rig.Sharing{pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST: rig.Axis1First, pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST: rig.Axis2First, pb.AxisOrder_AXIS_ORDER_TOGETHER: rig.Independent}[h.GetOrder()]
	done := a.Move(n.ctx, func(context.Context, *pb.Permit) error {
		n.mount.Home(n.clock.Now(), order)
		n.clock.to(n.mount.Arrival(n.clock.Now()).Add(time.Second))
		return nil
	})
	if done.Stopped != "" || done.Err != nil {
		n.wrong = append(n.wrong, "homing: "+done.String())
	}
	closure := n.mount.Homed(n.clock.Now())
	e := &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}
	if known {
		e.Closure = keepclear.Axes(closure.A1.Deg(), closure.A2.Deg())
	}
	n.tell("The home sensors answered", &pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: e}})
	return a
}

// slew asks for a slew to the sky and does it.
func (n *night) slew(asked string, t target, track time.Duration, want keepclear.Verdict) keepclear.Answer {
	a := n.step(asked, n.handle.Slew(n.ctx, t.sky(), track), want)
	n.seen[len(n.seen)-1].target = &t
	n.move(a, func(at time.Time) {
		ra, dec := n.ofDate(t, at)
		n.mount.Slew(at, ra, dec, "", track > 0)
	})
	return a
}

// ofDate is a target in the equinox that the mount understands.
func (n *night) ofDate(t target, at time.Time) (ra, dec unit.Angle) {
	m, err := newMoment()(at)
	if err != nil {
		return 0, 0
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](unit.Deg(t.ra), unit.Deg(t.dec))).LonLat()
}

// track asks to track on from here.
func (n *night) track(asked string, d time.Duration, want keepclear.Verdict) {
	a := n.step(asked, n.handle.Track(n.ctx, d), want)
	if a.Verdict != keepclear.Deny || len(a.AskInstead) == 0 || a.AskInstead[0].GetTrack().GetUntilTime() == nil {
		n.wrong = append(n.wrong, asked+" named no shorter track")
		return
	}
	until := a.AskInstead[0].GetTrack().GetUntilTime().AsTime().Add(-3 * time.Minute)
	shorter := &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(until)}}}}
	b := n.step(fmt.Sprintf("May it track until %s, a few minutes before that?", local(until)), n.handle.Ask(n.ctx, shorter), keepclear.Allow)
	n.move(b, func(at time.Time) { n.mount.Track(at) })
	n.pass(until.Add(-30 * time.Second))
}

// picture exposes for five seconds and solves; a false one is off by so much, with 19 stars.
func (n *night) picture(false_ *rig.Axes) *question.Solve {
	if err := n.report(&pb.ReportRequest{}); err != nil {
		n.wrong = append(n.wrong, "a sample was refused: "+err.Error())
	}
	n.clock.to(n.clock.Now().Add(time.Second))
	start := n.clock.Now()
	n.clock.to(start.Add(8 * time.Second)) // five of exposure, three to read and solve
	var v question.Solve
	if false_ != nil {
		v = n.camera.False(start, 5*time.Second, *false_, 19)
	} else {
		v = n.camera.Picture(start, 5*time.Second)
	}
	return &v
}

// sync asks whether a solve may be believed, and tells the mount if so.
func (n *night) sync(asked string, v *question.Solve, want keepclear.Verdict) keepclear.Answer {
	a := n.step(asked, n.handle.Sync(n.ctx, wire.SolveOf(v)), want)
	w := &n.seen[len(n.seen)-1]
	w.solve, w.mid = v, n.mount.Axes(v.Start.Add(v.Exposure/2))
	if f := factOf(a, "expected_offset_arcmin"); f != nil {
		n.say(7, "It lies %.2f° from where the pose expects it: %d stars, residual %.1f″.", *f/60, *v.Matched, v.Residual.Arcsec())
	}
	a.Tell(n.ctx, func(context.Context, *pb.SyncLeave) error {
		m, err := newMoment()(n.clock.Now())
		if err != nil {
			return err
		}
		ra, dec := m.Apparent(frame.FromLonLat[frame.ICRS](v.Sky.RA, v.Sky.Dec)).LonLat()
		n.mount.Sync(n.clock.Now(), ra, dec)
		n.clock.to(n.clock.Now().Add(500 * time.Millisecond))
		return nil
	})
	return a
}

// factOf finds a number among the findings of an answer.
func factOf(a keepclear.Answer, name string) *float64 {
	for _, f := range a.Reply.GetJudgement().GetFindings() {
		if v, ok := f.GetFact().GetValue().(*pb.Fact_Number); ok && f.GetFact().GetName() == name {
			return &v.Number
		}
	}
	return nil
}
