package decide

import (
	"context"
	"fmt"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/verdict"
)

// proposals keeps, of what the facts propose instead, the first series of questions that would pass: its first one if it were asked now,
// each other one from where the one before would end, as far as that can be foreseen.
func (d *Decider) proposals(ctx context.Context, g *group, q question.Question, snap question.Snapshot, a *Answer) {
	a.Instead, a.Stops = nil, nil
	if a.Verdict == verdict.Allow {
		return
	}
	var said []string
	a.Instead, said = choose(believed(a.proposed, a.Findings), func(steps []question.Action) (fate, bool) {
		out, first := d.wouldPass(ctx, g, q, snap, steps[0])
		if !first.passes() {
			return first, false
		}
		w := Ahead{g.member, d.parts.Moment, d.parts.Cells, snap.Rig.Proof}
		return w.follow(ctx, out, steps[1:], snap.At.Add(lasts(&out)), 1)
	})
	a.Notes = append(a.Notes, said...)
	if say := misled(q.Action, a); say != "" {
		a.Notes = append(a.Notes, say)
	}
	if len(a.Instead) > 0 {
		a.Stops = d.stops(g, snap, a.Instead)
	}
}

// believed leaves out the series of which a later question goes by belief, where what was found of the question says that belief would not bring it
// there: no motion by axes mends that, and what is foreseen of a later question takes the belief then for right.
func believed(proposed []facts.Proposal, findings []verdict.Finding) []facts.Proposal {
	if !slices.ContainsFunc(findings, func(f verdict.Finding) bool {
		return (f.Rule == "belief/agrees" || f.Rule == "end/bounded") && (f.Effect == verdict.Holds || f.Effect == verdict.Denies)
	}) {
		return proposed
	}
	return slices.DeleteFunc(slices.Clone(proposed), func(p facts.Proposal) bool {
		return slices.ContainsFunc(p.Steps[1:], func(a question.Action) bool { return a.Axes == nil })
	})
}

// misled says of a denial by which rule it is mended where belief was found to lead elsewhere than it should, or the ends to lie apart: what is denied may
// be only where that leads, so that each other target would be denied as well. Where only the angles asked for were judged, or a sync, it is not so.
func misled(asked question.Action, a *Answer) string {
	if a.Verdict != verdict.Deny || asked.Kind == question.Sync || asked.Axes != nil && len(a.Ends) < 2 {
		return ""
	}
	where := map[string]string{"belief_off": "only where what the mount falsely believes leads", "ends_spread": "only one of the places where this could end"}
	for _, f := range a.Findings {
		if w := where[f.Code]; w != "" {
			return "what is denied may be " + w + ": do first what " + f.Rule + " says; before that, to ask for something else may not help"
		}
	}
	return ""
}

// fate is what becomes of a series of questions: the verdict on the last that was judged, which it is, and what stands in its way.
type fate struct {
	verdict  verdict.Verdict
	step     int
	sentence string
}

func (f fate) passes() bool { return f.verdict == verdict.Allow }

func fateOf(v verdict.Verdict, findings []verdict.Finding, step int) fate {
	verdict.Sort(findings)
	return fate{v, step, Sentence(v, findings)}
}

// choose returns the first of some proposals that passes as they are tried. Where none does it says of those that were sought and found clear what stands in
// their way: somebody may clear that away.
func choose(proposed []facts.Proposal, try func(steps []question.Action) (fate, bool)) (steps []question.Action, said []string) {
	for _, p := range proposed {
		f, passes := try(p.Steps)
		if passes {
			return p.Steps, nil
		}
		if p.Found == "" {
			continue
		}
		which := "it"
		if n := len(p.Steps); n > 1 {
			which = fmt.Sprintf("question %d of its %d", f.step+1, n)
		}
		if say := fmt.Sprintf("%s was found, but %s would not pass: %s", p.Found, which, f.sentence); !slices.Contains(said, say) {
			said = append(said, say)
		}
	}
	return nil, said
}

// lasts is how long a motion and what follows it take, a year at most: what takes longer passes nowhere, and would end in the past.
func lasts(out *facts.Outcome) time.Duration {
	return seconds(min(out.MotionS+out.FollowS, 366*86400))
}

// stops gives those of a series that are slews by axes as positions that the mount understands.
func (d *Decider) stops(g *group, snap question.Snapshot, series []question.Action) []Stop {
	return positions(facts.Input{Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells}, series)
}

// positions gives the slews by axes of a series as positions.
func positions(in facts.Input, series []question.Action) []Stop {
	var steps []int
	var to []rig.Axes
	for i, a := range series {
		if a.Kind == question.Slew && a.Axes != nil {
			steps, to = append(steps, i), append(to, *a.Axes)
		}
	}
	if len(to) == 0 {
		return nil
	}
	var out []Stop
	for i, s := range facts.AsPositions(in, to) {
		out = append(out, Stop{steps[i], s})
	}
	return out
}

// Instead chooses, of what the facts of an action propose instead, the first series that would pass if it were asked from the same instant on, from where
// the rig would stand then, with its slews by axes as positions; and says what stands in the way of ways that were found and do not pass. Judged is how
// many questions it judged.
func (w *Ahead) Instead(ctx context.Context, from []question.Candidate, at time.Time, proposed []facts.Proposal) (series []question.Action, stops []Stop, said []string, judged int) {
	series, said = choose(proposed, func(steps []question.Action) (fate, bool) {
		judged += len(steps)
		first := w.Member.asAsked(steps[0])
		out, findings := w.Foresee(ctx, from, first, at, false)
		if f := fateOf(Foreseen(w.Member, first, findings), findings, 0); !f.passes() {
			return f, false
		}
		return w.follow(ctx, out, steps[1:], at.Add(lasts(&out)), 1)
	})
	if len(series) > 0 {
		stops = positions(w.input(from, series[0], at, false), series)
	}
	return series, stops, said, judged
}

// follow tells what becomes of the rest of a series, from where its questions up to some step would leave the rig, at an instant.
func (w *Ahead) follow(ctx context.Context, out facts.Outcome, rest []question.Action, at time.Time, step int) (f fate, passes bool) {
	for i, p := range rest {
		p = w.Member.asAsked(p)
		next, findings := w.Foresee(ctx, []question.Candidate{{Axes: out.After, Sigma: out.Sigma}}, p, at, false)
		if f = fateOf(Foreseen(w.Member, p, findings), findings, step+i); !f.passes() {
			return f, false
		}
		next.Sigma, out = out.Sigma, next
		at = at.Add(lasts(&out))
	}
	return f, true
}

// wouldPass judges another action in the place of the question's.
func (d *Decider) wouldPass(ctx context.Context, g *group, q question.Question, snap question.Snapshot, p question.Action) (facts.Outcome, fate) {
	q.Action = g.member.asAsked(p)
	out := facts.Compute(facts.Input{
		Question: q, Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells, Shelf: g.member.Shelf,
	})
	sub := Subject(g.member.Rig, q.Action)
	findings := found(ctx, g, q, snap.Rig, &out)
	return out, fateOf(verdict.Combine(findings, g.member.Rules.IDs(), rules.Required(sub)), findings, 0)
}

// asAsked is an action as it is judged when it is asked for: a slew by axes to home or a place of rest is a retreat.
func (m *Member) asAsked(a question.Action) question.Action {
	if a.Kind == question.Slew && a.Axes != nil && Retreats(m.Rig, *a.Axes) {
		a.Kind = question.Retreat
	}
	return a
}
