package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/practice"
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
	fourth = target{152.10, 12.00}
)

func (t target) String() string { return fmt.Sprintf("%.2f°, %+.2f°", t.ra, t.dec) }

func (t target) sky() *pb.SkyPosition { return keepclear.ICRS(t.ra, t.dec) }

// clockTime is an instant of the night, by the hour and minute of local time (UTC+1); hours past 24 are the next day's.
func clockTime(hour, minute int) time.Time {
	return time.Date(2026, 11, 14, hour-1, minute, 0, 0, time.UTC)
}

// opening says what is about to be seen.
func (n *night) opening() {
	n.say(0, "%s", "One night at an invented place: a mill garden at 46.20° N, 11.10° E, 640 m, 14 to 15 November 2026. The rig \"heron\" is simulated and invented too: a German equatorial on a tripod. The service, its rules, its proofs and its record are the real ones; every number below is computed. All times are local; the service itself speaks UTC, one hour less.")
	n.say(0, "Record: %s", n.record)
}

// evening: rehearsal, homing, the first target, the first sync, and a track that must end early.
func (n *night) evening() {
	n.chapter("Evening")
	n.rehearse()
	n.tell(person+" looks at the rig: weights down, tube at the pole; says so.", &pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: person}}})
	residual := 4.0
	n.tell(fmt.Sprintf("%s turned both axes a few degrees, saw the tube go the right way and measured the gaps: the file fits, %.0f mm off at worst.", person, residual),
		&pb.ReportRequest{Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: person, RigSha256: n.rig.Digest[:], SignsChecked: true, ResidualMm: &residual}}})
	n.home(&pb.Home{}, "May it home?", keepclear.Allow, true)

	n.pass(clockTime(19, 38))
	n.slew("May it slew to "+first.String()+" and track 15 min?", first, 15*time.Minute, keepclear.Allow)
	n.sync("May the first solve of the night be believed?", n.picture(nil), keepclear.Allow)
	n.trackTooLong(3 * time.Hour)
}

// rehearse asks for the whole plan before bed.
func (n *night) rehearse() {
	n.at("Rehearsing tonight's four targets:")
	for _, p := range []struct {
		t     target
		at    time.Time
		track time.Duration
	}{{first, clockTime(19, 38), 3 * time.Hour}, {second, clockTime(21, 40), 55 * time.Minute}, {third, clockTime(24, 40), 2 * time.Hour}, {fourth, clockTime(26, 45), 3 * time.Hour}} {
		action := &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: p.t.sky()}, TrackDuration: durationpb.New(p.track)}}}
		r, err := pb.NewRehearsalServiceClient(n.conn).Rehearse(n.ctx, &pb.RehearseRequest{
			Rig: "heron", Asker: "demo", Steps: []*pb.RehearsalStep{{Action: action, StartTime: timestamppb.New(p.at)}}, WithFacts: true,
		})
		if err != nil {
			n.fault("rehearsal: %v", err)
			return
		}
		step := r.GetSteps()[0]
		n.outlooks = append(n.outlooks, step)
		j := step.GetOutlook()
		word := map[pb.Verdict]string{pb.Verdict_VERDICT_ALLOW: "would pass", pb.Verdict_VERDICT_DENY: "would be DENIED", pb.Verdict_VERDICT_HOLD: "would be HELD"}[j.GetVerdict()]
		n.say(under, "%s from %s, track %s: %s; it could track until %s.", p.t, local(p.at), hoursMinutes(p.track), word, local(step.GetPassesUntilTime().AsTime()))
		if step.GetPassesUntilTime() == nil {
			n.fault("rehearsal of %s: until when it could track is not told: %s", p.t, j.GetSentence())
		}
		if p.t == first {
			n.endsEarly(step)
		} else if j.GetVerdict() != pb.Verdict_VERDICT_ALLOW {
			n.fault("rehearsal of %s: %s: %s", p.t, j.GetVerdict(), j.GetSentence())
		}
	}
}

// endsEarly: the first target must end because the camera nears a leg, well before the rig's own travel limit would act.
func (n *night) endsEarly(step *pb.RehearsedStep) {
	j := step.GetOutlook()
	n.say(under+2, "%s", j.GetSentence())
	limit := limitActs(step)
	n.say(under+2, "The rig's own travel limit would act at %s only.", local(limit))
	about := strings.Join(findingOf(j, "track/fits").GetAbout(), ", ")
	switch early := limit.Sub(step.GetPassesUntilTime().AsTime()); {
	case j.GetVerdict() != pb.Verdict_VERDICT_DENY, !strings.Contains(about, "leg and camera"), early < 10*time.Minute:
		n.fault("rehearsal of %s: %s about %s, %s before the travel limit: %s", first, j.GetVerdict(), about, early, j.GetSentence())
	}
}

// limitActs is when the rig's travel limit would end a rehearsed track.
func limitActs(step *pb.RehearsedStep) time.Time {
	slewing, _ := factOf(step.GetOutlook(), "motion_s")
	travel, _ := factOf(step.GetOutlook(), "travel_in_s") // from arrival
	return step.GetStartTime().AsTime().Add(time.Duration((slewing + travel) * float64(time.Second)))
}

// home asks for a homing and does it; known tells whether the counters counted before.
func (n *night) home(h *pb.Home, asked string, want keepclear.Verdict, known bool) keepclear.Answer {
	a := n.step(asked, n.handle.Ask(n.ctx, &pb.Action{Kind: &pb.Action_Home{Home: h}}), want)
	if a.Verdict != keepclear.Allow {
		return a
	}
	order := map[pb.AxisOrder]rig.Sharing{pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST: rig.Axis1First, pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST: rig.Axis2First, pb.AxisOrder_AXIS_ORDER_TOGETHER: rig.Independent}[h.GetOrder()]
	done := a.Move(n.ctx, func(context.Context, *pb.Permit) error {
		n.order(func(m *practice.Mount, at time.Time) { m.Home(at, order); n.clock.to(m.Arrival(at).Add(time.Second)) })
		return nil
	})
	if done.Stopped != "" || done.Err != nil {
		n.fault("homing: %s", done)
	}
	e := &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}
	n.order(func(m *practice.Mount, at time.Time) {
		if closure := m.Homed(at); known {
			e.Closure = keepclear.Axes(closure.A1.Deg(), closure.A2.Deg())
		}
	})
	n.tell("The home sensors answered.", &pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: e}})
	return a
}

// slew asks for a slew to the sky and does it.
func (n *night) slew(asked string, t target, track time.Duration, want keepclear.Verdict) keepclear.Answer {
	a := n.step(asked, n.handle.Slew(n.ctx, t.sky(), track), want)
	n.seen[len(n.seen)-1].target = &t
	n.move(a, func(m *practice.Mount, at time.Time) {
		ra, dec, err := ofDate(unit.Deg(t.ra), unit.Deg(t.dec), at)
		if err != nil {
			n.fault("%v", err)
			return
		}
		m.Slew(at, ra, dec, "", track > 0)
	})
	return a
}

// trackTooLong asks to track on from here for longer than the legs allow, and then for what the answer names, less a few minutes.
func (n *night) trackTooLong(d time.Duration) {
	a := n.step("May it track for "+hoursMinutes(d)+"?", n.handle.Track(n.ctx, d), keepclear.Deny)
	if len(a.AskInstead) == 0 || a.AskInstead[0].GetTrack().GetUntilTime() == nil {
		n.fault("no shorter track was named")
		return
	}
	until := a.AskInstead[0].GetTrack().GetUntilTime().AsTime().Add(-3 * time.Minute)
	shorter := &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(until)}}}}
	b := n.step(fmt.Sprintf("May it track until %s, a few minutes before that?", local(until)), n.handle.Ask(n.ctx, shorter), keepclear.Allow)
	n.move(b, (*practice.Mount).Track)
	n.pass(until.Add(-30 * time.Second))
}

// sync asks whether a solve may be believed, and tells the mount if so.
func (n *night) sync(asked string, v *question.Solve, want keepclear.Verdict) keepclear.Answer {
	a := n.step(asked, n.handle.Sync(n.ctx, wire.SolveOf(v)), want)
	w := &n.seen[len(n.seen)-1]
	n.order(func(m *practice.Mount, _ time.Time) { w.solve, w.mid = v, m.Axes(v.Start.Add(v.Exposure/2)) })
	n.figures(a.Reply.GetJudgement(), v)
	told := a.Tell(n.ctx, func(context.Context, *pb.SyncLeave) (err error) {
		n.order(func(m *practice.Mount, at time.Time) {
			var ra, dec unit.Angle
			if ra, dec, err = ofDate(v.Sky.RA, v.Sky.Dec, at); err == nil {
				m.Sync(at, ra, dec)
			}
		})
		n.clock.to(n.clock.Now().Add(500 * time.Millisecond))
		return err
	})
	if a.Verdict == keepclear.Allow && told.String() != "done" {
		n.fault("the sync was not taken: %s", told)
	}
	return a
}

// figures prints how far a solve lies from the pose and from the picture before it, and its own figures.
func (n *night) figures(j *pb.Judgement, v *question.Solve) {
	// Where the offset is what decided, the answer has said it.
	if off, ok := factOf(j, "expected_offset_arcmin"); ok && findingOf(j, "sync/expected").GetEffect() == pb.Effect_EFFECT_PASS {
		n.say(under, "It lies %s from where the pose expects it.", apartWords(off))
	}
	if apart, ok := factOf(j, "independent_agreement_arcmin"); ok {
		n.say(under, "It differs from the picture before, the axes' turn allowed for, by %s.", apartWords(apart))
	}
	word := map[bool]string{true: "good", false: "not good"}[findingOf(j, "solve/quality").GetEffect() == pb.Effect_EFFECT_PASS]
	ratio, _ := factOf(j, "residual_ratio")
	n.say(under, "Its own figures are %s: %d stars, residual %.1f″ (%.2f of a pixel).", word, *v.Matched, v.Residual.Arcsec(), ratio)
}
