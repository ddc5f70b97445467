package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// midnight: across the meridian, a flip in its window, and the false solve.
func (n *night) midnight() {
	n.chapter("Across the meridian, and a false solve")
	n.slew("May it slew across to "+second.String()+" and track 55 min?", second, 55*time.Minute, keepclear.Allow)
	n.pass(utc(21, 25))
	flip := &pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(70 * time.Minute)}}}
	a := n.step("May it flip, a quarter of an hour past the meridian, and track on?", n.handle.Ask(n.ctx, flip), keepclear.Allow)
	n.move(a, func(at time.Time) {
		ra, dec, _ := n.mount.Belief(at)
		n.mount.Slew(at, ra, dec, rig.East, true)
	})
	n.pass(utc(22, 40))
	n.slew("May it slew to "+third.String()+" and track 30 min?", third, 30*time.Minute, keepclear.Allow)
	n.falseSolve()
	n.secondPicture()
}

// falseSolve: 45° off, almost all in declination, 19 stars, a small residual. Refused; and what would have happened.
func (n *night) falseSolve() {
	off := rig.DegAxes(-0.8, -45)
	a := n.sync("May this solve be believed? (It is false: a blind match on noise.)", n.picture(&off), keepclear.Deny)
	for _, e := range a.Reply.GetJudgement().GetEnds() {
		c := e.GetContact()
		if c == nil || len(c.GetParts()) != 2 {
			continue
		}
		n.say(7, "What would have happened: told to recentre, the mount turns axis 2. After %.1f° and %.1f s the %s touches the %s.",
			abs(c.GetTurned().GetAxis2Deg()), c.GetAfterDuration().AsDuration().Seconds(), c.GetParts()[1], c.GetParts()[0])
		n.passingLimits(e)
		return
	}
	n.wrong = append(n.wrong, "the false solve would have led to no contact")
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}

// passingLimits names every ordinary limit that the rig file declares, with what it would have seen at the end of that slew, where
// the mount by then believes itself.
func (n *night) passingLimits(e *pb.PredictedEnd) {
	believed := map[string]float64{}
	for _, f := range e.GetFacts() {
		believed[f.GetName()] = f.GetNumber()
	}
	rules, err := pb.NewRuleServiceClient(n.conn).ListRules(n.ctx, &pb.ListRulesRequest{Rig: "heron"})
	if err != nil {
		n.wrong = append(n.wrong, "listing the rules: "+err.Error())
		return
	}
	limits := map[string]float64{}
	for _, r := range rules.GetRules() {
		for _, l := range r.GetLimits() {
			limits[r.GetRuleId()+" "+l.GetName()] = l.GetValue()
		}
	}
	n.say(7, "%s", "Meanwhile every ordinary limit that the rig file declares passes, at that end as the mount believes it, and (travel) as it is:")
	check := func(name string, value, low, high float64) {
		word := "passes"
		if value < low || value > high {
			word = "FAILS"
			n.wrong = append(n.wrong, name+" would have stopped the false solve's slew")
		}
		fmt.Fprintf(n.out, "         %-24s %7.1f°  within [%.1f°, %.1f°]  %s\n", name, value, low, high, word)
	}
	check("travel/axis1, believed", believed["believed_axis1_deg"], limits["travel/axis1 low_deg"], limits["travel/axis1 high_deg"])
	check("travel/axis1, true", e.GetAxes().GetAxis1Deg(), limits["travel/axis1 low_deg"], limits["travel/axis1 high_deg"])
	check("travel/axis2, believed", believed["believed_axis2_deg"], limits["travel/axis2 low_deg"], limits["travel/axis2 high_deg"])
	check("travel/axis2, true", e.GetAxes().GetAxis2Deg(), limits["travel/axis2 low_deg"], limits["travel/axis2 high_deg"])
	check("sky/floor, believed", believed["believed_altitude_deg"], limits["sky/floor altitude_deg"], 90)
	check("sky/horizon, believed", believed["believed_altitude_deg"], limits["sky/horizon above_deg"], 90)
}

// secondPicture: two fields further on, another picture; it sides with the pose, and may be believed.
func (n *night) secondPicture() {
	fields := 2 * 1.79
	if w := n.rig.Optics[0].WidthDeg; w != nil {
		fields = 2 * *w
	}
	rate := 0.5
	jog := &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: keepclear.Axes(0, fields), RateDegPerS: &rate, TrackDuration: durationpb.New(25 * time.Minute)}}}
	a := n.step(fmt.Sprintf("May it jog axis 2 by two fields (%.2f°), slowly?", fields), n.handle.Ask(n.ctx, jog), keepclear.Allow)
	n.move(a, func(at time.Time) {
		r := rig.DegAxes(rate, 0).A1
		n.mount.Jog(at, rig.DegAxes(0, fields), &r, true)
	})
	n.sync("May the solve of a second picture, taken there, be believed?", n.picture(nil), keepclear.Allow)
}

// afterThePowerDip: counters gone, home by the safe order, a clock an hour ahead.
func (n *night) afterThePowerDip() {
	n.chapter("A power dip")
	n.pass(utc(22, 55))
	n.slew("May it slew back to "+third.String()+" and track 25 min?", third, 25*time.Minute, keepclear.Allow)
	n.pass(utc(23, 20))
	n.mount.PowerDip(n.clock.Now())
	n.mount.ClockAhead = time.Hour
	n.tell("The power dips; the mount comes back and believes it is at home", &pb.ReportRequest{})
	first2 := pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST
	a := n.home(&pb.Home{Order: &first2}, "May it home, axis 2 first?", keepclear.Deny, false)
	if len(a.AskInstead) == 0 || a.AskInstead[0].GetHome() == nil {
		n.wrong = append(n.wrong, "no way home was named")
		return
	}
	n.home(a.AskInstead[0].GetHome(), "May it home the way that was named: "+describe(a.AskInstead[0])+"?", keepclear.Allow, false)

	b := n.slew("May it slew back to "+third.String()+"?", third, time.Hour, keepclear.Hold)
	if !strings.Contains(b.Why, "one hour") {
		n.wrong = append(n.wrong, "the hour was not named: "+b.Why)
	}
	n.mount.ClockAhead = 0
	n.tell(person+" sets the mount's clock right", &pb.ReportRequest{Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLOCK_SET, Person: person}}})
	n.pass(utc(23, 40))
	n.slew("And now, tracking 2 h?", third, 2*time.Hour, keepclear.Allow)
}

// morning: home to rest, the record verified, the night in numbers, and what to try next.
func (n *night) morning() {
	n.chapter("Morning")
	n.pass(utc(25, 35))
	home := n.rig.Home
	a := n.step("May it go home to rest?", n.handle.SlewAxes(n.ctx, keepclear.Axes(home.A1.Deg(), home.A2.Deg())), keepclear.Allow)
	n.move(a, func(at time.Time) { n.mount.SlewAxes(at, home) })
	n.clock.to(utc(29, 45))
	res, err := record.VerifyFile(context.Background(), n.record, record.VerifyOptions{Fold: state.NewFold}, store.Options{})
	switch {
	case err != nil:
		n.wrong = append(n.wrong, "verifying: "+err.Error())
	case !res.Whole:
		n.wrong = append(n.wrong, res.Sentence)
	}
	n.say(0, "%s  The record: %s", local(n.clock.Now()), res.Sentence)
	n.say(7, "The night: %d questions allowed, %d denied, %d held.", n.counts["allow"], n.counts["deny"], n.counts["hold"])
	n.chapter("To try next")
	for _, line := range []string{
		"go run ./service verify " + n.record,
		"go run ./service serve --practice heron --clock-within 2     (in one terminal)",
		"go run ./clients/keepclear ask heron slew --axis1 -30 --axis2 60 \\",
		"    --attended-by you                                        (in another)",
		"go run ./clients/keepclear rigs",
		"go run ./clients/keepclear entries list",
		"go run ./service check --blank",
	} {
		fmt.Fprintln(n.out, "  "+line)
	}
}

// describe gives an action in a person's words.
func describe(a *pb.Action) string {
	switch k := a.GetKind().(type) {
	case *pb.Action_Track:
		if u := k.Track.GetUntilTime(); u != nil {
			return "track until " + local(u.AsTime())
		}
		return "track for " + hoursMinutes(k.Track.GetTrackDuration().AsDuration())
	case *pb.Action_Home:
		return map[pb.AxisOrder]string{
			pb.AxisOrder_AXIS_ORDER_UNSPECIFIED: "home", pb.AxisOrder_AXIS_ORDER_TOGETHER: "home, both axes at once",
			pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST: "home, axis 1 first", pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST: "home, axis 2 first",
		}[k.Home.GetOrder()]
	case *pb.Action_Slew:
		if p := k.Slew.GetAxes(); p != nil {
			return fmt.Sprintf("slew to axes (%.1f°, %.1f°)", p.GetAxis1Deg(), p.GetAxis2Deg())
		}
		return fmt.Sprintf("slew to %.2f°, %+.2f°, track %s", k.Slew.GetSky().GetRaDeg(), k.Slew.GetSky().GetDecDeg(), hoursMinutes(k.Slew.GetTrackDuration().AsDuration()))
	case *pb.Action_Jog:
		return fmt.Sprintf("jog by (%.2f°, %.2f°) at %.2f°/s", k.Jog.GetBy().GetAxis1Deg(), k.Jog.GetBy().GetAxis2Deg(), k.Jog.GetRateDegPerS())
	case *pb.Action_Flip:
		return "flip, track " + hoursMinutes(k.Flip.GetTrackDuration().AsDuration())
	case *pb.Action_Park:
		return "park"
	case *pb.Action_Sync:
		return "sync"
	}
	return "a question that this version does not know"
}
