// Package rehearse judges a plan at stated future instants: what would be found if each step were asked when its time comes, from
// where the step before would end.
//
// It takes for granted what only the night can show (belief right, clocks right, fresh samples, nobody's lock) and says so; the
// rules about those are not applicable to an outlook. It knows no permit, so nothing that it returns lets a rig move, and it
// changes nothing that the service holds.
package rehearse

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Step is one step of a plan.
type Step struct {
	Action question.Action
	Start  *time.Time // nil: when the step before ends; for the first, now
}

// Plan is what is rehearsed.
type Plan struct {
	Member decide.Member
	Moment func(time.Time) (*sky.Moment, error)
	Cells  int
	Now    time.Time
	From   []question.Candidate // where the first step starts; empty: at home, as sharp as a sensed home
	Steps  []Step
	Proof  *question.Proof // what gauges found of the rig file; nil: nothing yet
}

// What may pass instead of the steps that do not is sought with so much work in all. Choices: an ordinary look for a way round takes a tenth of what one may,
// so that every step of a night's plan has one; and the largest plan, of which no step passes, takes no more than seconds. One question judged takes about as
// long as so many cells.
const (
	looks    = 8 // times the work that one proof may take
	perJudge = 100
)

// Unsought is said of a step that does not pass when that is used up.
const Unsought = "what may pass instead was not sought: the work that one rehearsal may take on that is used up; rehearse this step by itself"

// Outlook is the outlook of one step.
type Outlook struct {
	Answer      decide.Answer // never with leave
	Start, End  time.Time
	PassesUntil *time.Time // last instant at which it would still pass; nil: it does not pass at all
}

// Assumed says what every outlook takes for granted.
func Assumed() []string {
	return []string{"belief right", "clocks right", "samples fresh", "no lock", "the rig file fits the rig"}
}

// Rehearse judges every step. A step that would begin only when, or after, it is to end stands for a mistake in the plan: it and its start
// are named in a decide.ConflictError, by their paths in the request, and nothing is judged. Once ctx is over there is its error and no outlook.
func Rehearse(ctx context.Context, p Plan) ([]Outlook, error) {
	from := p.From
	if len(from) == 0 {
		r := p.Member.Rig
		from = []question.Candidate{{Axes: r.Home, Sigma: r.Homing.Sigma}}
	}
	at, left := p.Now, looks*p.Cells
	var out []Outlook
	for i, s := range p.Steps {
		if s.Start != nil && s.Start.After(at) {
			at = *s.Start
		}
		faults := unfit(p.Member.Rig, s, at, i)
		if i > 0 || s.Start != nil { // else it begins now, and a clock that is off is the question's to tell
			faults = append(faults, p.beyondTables(at, i)...)
		}
		if len(faults) > 0 {
			return nil, &decide.ConflictError{Faults: faults}
		}
		o, after := p.step(ctx, s.Action, from, at, &left)
		if err := ctx.Err(); err != nil { // the rules of this step may have been cut short, and held for that
			return nil, err
		}
		out = append(out, o)
		at = o.End
		sigma := from[0].Sigma
		from = []question.Candidate{{Axes: after, Sigma: sigma}}
	}
	return out, nil
}

// beyondTables is the fault of a step that would begin when nobody can work out the sky: no pose, homing or clock is to blame for that.
func (p *Plan) beyondTables(at time.Time, i int) []decide.FieldFault {
	if _, err := p.Moment(at); !errors.Is(err, timescale.ErrRange) {
		return nil
	}
	return []decide.FieldFault{{
		Path: fmt.Sprintf("steps[%d].start_time", i), Wanted: "an instant for which Earth and sky can be worked out (" + timescale.Covered + ")", Got: at.UTC().Format(time.RFC3339),
		Remedy: "rehearse one nearer to now",
	}}
}

// unfit are the faults of a step at the instant at which it would begin.
func unfit(r *rig.Rig, s Step, at time.Time, i int) []decide.FieldFault {
	faults := decide.ActionFits(r, s.Action, at, fmt.Sprintf("steps[%d].action", i))
	if len(faults) == 0 || s.Action.Until == nil {
		return faults
	}
	got := "none: it begins when the step before ends, at " + at.UTC().Format(time.RFC3339)
	switch {
	case i == 0 && s.Start == nil:
		return faults // it begins now
	case s.Start != nil && s.Start.Equal(at):
		got = at.UTC().Format(time.RFC3339)
	case s.Start != nil:
		got = s.Start.UTC().Format(time.RFC3339) + ", and the step before ends at " + at.UTC().Format(time.RFC3339)
	}
	return append(faults, decide.FieldFault{
		Path: fmt.Sprintf("steps[%d].start_time", i), Wanted: "a start before action.track.until_time, by 24 h at most", Got: got, Remedy: "change the one or the other, or shorten the steps before",
	})
}

// step judges one action from where the rig would stand, and returns where it would leave it. Left is the work left for what may pass instead.
func (p *Plan) step(ctx context.Context, a question.Action, from []question.Candidate, at time.Time, left *int) (Outlook, rig.Axes) {
	ahead := decide.Ahead{Member: p.Member, Moment: p.Moment, Cells: p.Cells, Proof: p.Proof}
	out, findings := ahead.Foresee(ctx, from, a, at, *left > 0)
	v := decide.Foreseen(p.Member, a, findings)
	verdict.Sort(findings)
	o := Outlook{
		Answer: decide.Answer{
			Verdict: v, Findings: findings, Facts: out.Facts, Ends: out.Ends, Closest: out.Closest, Notes: out.Notes, At: at, Sent: at,
			Sentence: decide.Sentence(v, findings),
		},
		Start: at, End: at.Add(seconds(out.MotionS + out.FollowS)),
	}
	if v == verdict.Hold {
		o.Answer.Needs = verdict.Needs(findings)
	}
	switch {
	case v == verdict.Allow:
	case *left <= 0:
		o.Answer.Notes = append(o.Answer.Notes, Unsought)
	default:
		series, stops, said, judged := ahead.Instead(ctx, from, at, out.Instead)
		o.Answer.Instead, o.Answer.Stops, o.Answer.Notes = series, stops, append(o.Answer.Notes, said...)
		*left -= out.Sought + perJudge*judged
	}
	o.PassesUntil = p.passesUntil(&o, &out)
	return o, out.After
}

// passesUntil is the last instant at which the step would still pass: all of it for one that does not track, else what the first
// thing that ends tracking leaves after the spare that the rules ask for. Nil where anything but the length of tracking stands in
// the way.
func (p *Plan) passesUntil(o *Outlook, out *facts.Outcome) *time.Time {
	for _, f := range o.Answer.Findings {
		if !p.byLength(f.Rule) && f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			return nil
		}
	}
	until := o.End
	spare, ok := out.Facts["track_spare_s"]
	if !ok || spare.Number == nil {
		if o.Answer.Verdict != verdict.Allow {
			return nil
		}
		return &until
	}
	most := out.FollowS + *spare.Number - p.wanted("track/fits", "spare_s")
	if left := out.Facts["unstopped_spare_s"]; p.byLength("asker/fallback") && left.Number != nil && out.FirstContact != nil {
		most = math.Min(most, out.FollowS+*left.Number-p.wanted("asker/fallback", "unstopped_spare_s"))
	}
	if most <= 0 {
		return nil
	}
	until = o.Start.Add(seconds(out.MotionS + most))
	return &until
}

// byLength tells whether a shorter track alone can satisfy a rule. What stops a rig whose asker died does so sooner only where it counts
// from the asker's last word.
func (p *Plan) byLength(rule string) bool {
	return rule == "track/fits" || rule == "asker/fallback" && p.Member.Rig.Stop.Kind == rig.PowerRelay
}

func (p *Plan) wanted(rule, name string) float64 {
	v, _ := p.Member.Limits.Value(rule, name)
	return v
}

// longest is the longest time that is told, s. Choice: what a Duration holds ends at three times that, and what is longer would end in the past.
const longest = 3e9

func seconds(s float64) time.Duration { return time.Duration(min(s, longest) * float64(time.Second)) }
