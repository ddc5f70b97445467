package main

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// width is that of a narrow terminal; under is where what belongs to a step is indented to, under the question behind its time.
const (
	width = 80
	under = 7
)

// local is the invented site's time of day.
func local(t time.Time) string { return t.In(time.FixedZone("local", 3600)).Format("15:04") }

// saidUTC is an instant as the service says it.
var saidUTC = regexp.MustCompile(`\b\d\d:\d\d:\d\d UTC\b`)

// inLocal has the instants that the service says in the story's own time: two clocks side by side are one too many.
func inLocal(text string) string {
	return saidUTC.ReplaceAllStringFunc(text, func(utc string) string {
		t, err := time.Parse("15:04:05 UTC", utc)
		if err != nil {
			return utc
		}
		return t.Add(time.Hour).Format("15:04:05")
	})
}

// say prints text, wrapped, behind an indent.
func (n *night) say(indent int, format string, args ...any) {
	n.hang(strings.Repeat(" ", indent), indent, format, args...)
}

// at prints text behind the time of day.
func (n *night) at(format string, args ...any) {
	n.hang(local(n.clock.Now())+"  ", under, format, args...)
}

// hang prints text, wrapped, behind a head; further lines are indented.
func (n *night) hang(head string, indent int, format string, args ...any) {
	for _, line := range folded(head, indent, inLocal(fmt.Sprintf(format, args...))) {
		fmt.Fprintln(n.out, line)
	}
}

// folded are the lines of a text, wrapped, behind a head that ends as it should before the first word; further lines are indented.
func folded(head string, indent int, text string) []string {
	var out []string
	line, empty := head, true
	for _, w := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(w)) > width {
			out = append(out, line)
			line, empty = strings.Repeat(" ", indent), true
		}
		if !empty {
			line += " "
		}
		line, empty = line+w, false
	}
	return append(out, line)
}

// chapter heads a part of the night.
func (n *night) chapter(title string) {
	fmt.Fprintf(n.out, "\n%s\n%s\n", title, strings.Repeat("-", len([]rune(title))))
}

// fault notes what came out otherwise than the story says.
func (n *night) fault(format string, args ...any) {
	n.wrong = append(n.wrong, local(n.clock.Now())+" "+fmt.Sprintf(format, args...))
}

// step prints the question and its answer, and holds the verdict against the story.
func (n *night) step(asked string, a keepclear.Answer, want keepclear.Verdict) keepclear.Answer {
	n.seen = append(n.seen, witness{at: n.clock.Now(), what: asked, pose: n.axes(), verdict: a.Verdict, ask: a.Reply})
	n.at("%s", asked)
	n.say(under, "%s: %s", strings.ToUpper(a.Verdict.String()), a.Why)
	if a.Help != "" {
		n.say(under, "What to do: %s", a.Help)
	}
	for i, x := range a.AskInstead {
		n.say(under, "%s %s.", map[bool]string{true: "Would pass now:", false: "and then ask:"}[i == 0], describe(x))
	}
	if c := a.Reply.GetJudgement().GetClosest(); c != nil && len(c.GetParts()) == 2 {
		n.say(under, "%s.", gap(c))
	}
	if a.Verdict != want {
		n.fault("%s: %s where %s was due: %s", asked, a.Verdict, want, a.Why)
	}
	return a
}

// gap says in a sentence how near two parts come on the way.
func gap(c *pb.Clearance) string {
	if c.GetUpperMm() <= 0 {
		return fmt.Sprintf("On the way %s and %s would run into each other (%.0f mm wanted)", c.GetParts()[0], c.GetParts()[1], c.GetRequiredMm())
	}
	return "Closest on the way: " + nearness(c)
}

// nearness says how near two parts come: what is proven of the whole way or, where that is too near, what was seen.
func nearness(c *pb.Clearance) string {
	mm := fmt.Sprintf("at least %.0f mm", c.GetLowerMm())
	if c.GetUpperMm() < c.GetRequiredMm() {
		mm = fmt.Sprintf("%.0f mm or less", c.GetUpperMm())
	}
	return fmt.Sprintf("%s and %s, %s (%.0f mm wanted)", c.GetParts()[0], c.GetParts()[1], mm, c.GetRequiredMm())
}

// tell reports an event and prints what it did.
func (n *night) tell(what string, r *pb.ReportRequest) {
	n.at("%s", what)
	if s, err := n.sample(); err == nil {
		r.Sample = s
	}
	out, err := n.handle.Report(n.ctx, r)
	if err != nil {
		n.fault("%s: %v", what, err)
		return
	}
	for _, f := range out.GetFindings() {
		n.say(under, "%s.", strings.TrimSuffix(sentence(f.GetSentence()), "."))
	}
}

// sentence begins with a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// factOf is a number that an answer was judged by; false where it was not worked out.
func factOf(j *pb.Judgement, name string) (float64, bool) {
	for _, f := range j.GetFacts() {
		if v, ok := f.GetValue().(*pb.Fact_Number); ok && f.GetName() == name {
			return v.Number, true
		}
	}
	return 0, false
}

// findingOf is what one rule said.
func findingOf(j *pb.Judgement, rule string) *pb.Finding {
	for _, f := range j.GetFindings() {
		if f.GetRuleId() == rule {
			return f
		}
	}
	return nil
}

// apartWords is an angle in arcminutes as a person would say it.
func apartWords(arcmin float64) string {
	if arcmin < 6 {
		return fmt.Sprintf("%.1f′", arcmin)
	}
	return fmt.Sprintf("%.2f°", arcmin/60)
}

func hoursMinutes(d time.Duration) string {
	return fmt.Sprintf("%d:%02d h", int(d.Hours()), int(d.Minutes())%60)
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
