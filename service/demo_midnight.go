package main

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// midnight: across the meridian, a flip in its window, and the false solve.
func (n *night) midnight() {
	n.chapter("Across the meridian, and a false solve")
	n.slew("May it slew across to "+second.String()+" and track 55 min?", second, 55*time.Minute, keepclear.Allow)
	n.pass(clockTime(22, 25))
	flip := &pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(70 * time.Minute)}}}
	a := n.step(fmt.Sprintf("May it flip, %.0f min past the meridian, and track on?", n.pastMeridian().Deg()*4), n.handle.Ask(n.ctx, flip), keepclear.Allow)
	if h := a.Reply.GetJudgement().GetHarmlessUntil().GetAtTime(); h != nil {
		n.say(under, "Unflipped, it could have tracked until %s.", local(h.AsTime()))
	}
	n.move(a, func(m *practice.Mount, at time.Time) {
		ra, dec, side := m.Belief(at)
		m.Slew(at, ra, dec, side.Other(), true)
	})
	n.pass(clockTime(23, 40))
	n.slew("May it slew to "+third.String()+" and track 30 min?", third, 30*time.Minute, keepclear.Allow)
	n.falseSolve()
	n.secondPicture()
}

// pastMeridian is the hour angle of what the mount believes to look at; 1° is four minutes.
func (n *night) pastMeridian() (hour unit.Angle) {
	n.order(func(m *practice.Mount, at time.Time) {
		ra, _, _ := m.Belief(at)
		s, err := newMoment()(at)
		if err != nil {
			n.fault("%v", err)
			return
		}
		hour = (s.SiderealTime(n.rig.Site.Lon) - ra).Wrapped()
	})
	return hour
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
		n.say(under, "What would have happened: told to centre the target again, the mount turns. After %.1f° of axis 1 and %.1f° of axis 2, in %.1f s, the %s touches the %s.",
			math.Abs(c.GetTurned().GetAxis1Deg()), math.Abs(c.GetTurned().GetAxis2Deg()), c.GetAfterDuration().AsDuration().Seconds(), c.GetParts()[1], c.GetParts()[0])
		n.passingLimits(e)
		return
	}
	n.fault("the false solve would have led to no contact")
}

// passingLimits names every ordinary limit with what it would have seen at the end of that slew, where the mount by then believes
// itself: all that the rig file declares, and the altitudes.
func (n *night) passingLimits(e *pb.PredictedEnd) {
	rules, err := pb.NewRuleServiceClient(n.conn).ListRules(n.ctx, &pb.ListRulesRequest{Rig: "heron"})
	if err != nil {
		n.fault("listing the rules: %v", err)
		return
	}
	believed := map[string]float64{}
	for _, f := range e.GetFacts() {
		believed[f.GetName()] = f.GetNumber()
	}
	limits := map[string]*pb.Limit{}
	for _, r := range rules.GetRules() {
		for _, l := range r.GetLimits() {
			limits[r.GetRuleId()+" "+l.GetName()] = l
		}
	}
	n.say(under, "%s", "Every ordinary limit would have let it pass, at that end: the travel as the mount believes it and as it is, the altitude as the mount believes it.")
	for _, x := range []struct {
		rule, low, high, whose string
		value                  float64
	}{
		{"travel/axis1", "low_deg", "high_deg", "believed", believed["believed_axis1_deg"]},
		{"travel/axis1", "low_deg", "high_deg", "true", e.GetAxes().GetAxis1Deg()},
		{"travel/axis2", "low_deg", "high_deg", "believed", believed["believed_axis2_deg"]},
		{"travel/axis2", "low_deg", "high_deg", "true", e.GetAxes().GetAxis2Deg()},
		{"sky/floor", "altitude_deg", "", "believed", believed["believed_altitude_deg"]},
		{"sky/horizon", "above_deg", "", "believed", believed["believed_altitude_deg"]}, // heron's horizon is level
	} {
		low, high := limits[x.rule+" "+x.low], limits[x.rule+" "+x.high]
		within, passes := fmt.Sprintf("%g° or more", low.GetValue()), low != nil && x.value >= low.GetValue()
		if x.high != "" {
			within, passes = fmt.Sprintf("%g° to %g°", low.GetValue(), high.GetValue()), passes && high != nil && x.value <= high.GetValue()
		}
		word := "passes"
		if !passes {
			word = "FAILS"
			n.fault("%s would have stopped the false solve's slew", x.rule)
		}
		fmt.Fprintf(n.out, "         %-12s  %-8s  %6.1f°  %s  (%s, %s)\n", x.rule, x.whose, x.value, word, within, low.GetOrigin())
	}
}

// secondPicture: two fields further on, another picture; it sides with the pose, and may be believed.
func (n *night) secondPicture() {
	fields := 2 * 1.79
	if w := n.rig.Optics[0].WidthDeg; w != nil {
		fields = 2 * *w
	}
	rate := 0.5
	jog := &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: keepclear.Axes(0, fields), RateDegPerS: &rate, TrackDuration: durationpb.New(25 * time.Minute)}}}
	a := n.step(fmt.Sprintf("May it jog axis 2 by two fields (%.2f°), at %.1f°/s?", fields, rate), n.handle.Ask(n.ctx, jog), keepclear.Allow)
	n.move(a, func(m *practice.Mount, at time.Time) {
		r := unit.Deg(rate)
		m.Jog(at, rig.DegAxes(0, fields), &r, true)
	})
	n.sync("May the solve of a second picture, taken there, be believed?", n.picture(nil), keepclear.Allow)
}

// afterThePowerDip: counters gone, home by the safe order, a clock an hour ahead.
func (n *night) afterThePowerDip() {
	n.chapter("A power dip")
	n.pass(clockTime(23, 55))
	n.slew("May it slew back to "+third.String()+" and track 25 min?", third, 25*time.Minute, keepclear.Allow)
	n.pass(clockTime(24, 20))
	n.order(func(m *practice.Mount, at time.Time) { m.PowerDip(at); m.ClockAhead = time.Hour })
	n.tell("The power dips; the mount comes back and believes that it is at home.", &pb.ReportRequest{})
	first2 := pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST
	a := n.home(&pb.Home{Order: &first2}, "May it home, axis 2 first?", keepclear.Deny, false)
	if len(a.AskInstead) == 0 || a.AskInstead[0].GetHome() == nil {
		n.fault("no way home was named")
		return
	}
	n.home(a.AskInstead[0].GetHome(), "May it home the way that was named: "+describe(a.AskInstead[0])+"?", keepclear.Allow, false)

	b := n.slew("May it slew back to "+third.String()+"?", third, time.Hour, keepclear.Hold)
	if !strings.Contains(b.Why, "one hour") {
		n.fault("the hour was not named: %s", b.Why)
	}
	n.order(func(m *practice.Mount, _ time.Time) { m.ClockAhead = 0 })
	n.tell(person+" sets the mount's clock right.", &pb.ReportRequest{Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLOCK_SET, Person: person}}})
	n.pass(clockTime(24, 40))
	n.slew("And now, tracking 2 h?", third, 2*time.Hour, keepclear.Allow)
}

// morning: the last target, home to rest, and the sum of it.
func (n *night) morning(ctx context.Context) {
	n.chapter("Morning")
	n.pass(clockTime(26, 39))
	n.slew("May it slew to "+fourth.String()+" and track 3 h?", fourth, 3*time.Hour, keepclear.Allow)
	n.pass(clockTime(29, 38))
	home := n.rig.Home
	a := n.step("May it go home to rest?", n.handle.SlewAxes(n.ctx, keepclear.Axes(home.A1.Deg(), home.A2.Deg())), keepclear.Allow)
	n.move(a, func(m *practice.Mount, at time.Time) { m.SlewAxes(at, home) })
	n.clock.to(clockTime(30, 45))
	n.verified(ctx)
	n.summary()
	n.toTry()
}
