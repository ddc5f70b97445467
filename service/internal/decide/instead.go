package decide

import (
	"context"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/verdict"

	"keepclear.example/keepclear/service/internal/facts"
)

// proposals keeps, of what the facts propose instead, the questions that would pass now if they were asked: a proposal that begins
// a series (way-points, then the original) stands if its first one passes.
func (d *Decider) proposals(ctx context.Context, g *group, q question.Question, snap question.Snapshot, a *Answer) {
	proposed := a.Instead
	a.Instead = nil
	if a.Verdict == verdict.Allow {
		return
	}
	for i, p := range proposed {
		if !d.wouldPass(ctx, g, q, snap, p) {
			continue
		}
		a.Instead = append(a.Instead, p)
		if p.Axes != nil && p.Kind != question.Jog { // a way-point: the rest of the series follows it
			a.Instead = append(a.Instead, proposed[i+1:]...)
		}
		return
	}
}

// wouldPass judges another action in the place of the question's.
func (d *Decider) wouldPass(ctx context.Context, g *group, q question.Question, snap question.Snapshot, p question.Action) bool {
	if p.Kind == question.Slew && p.Axes != nil && retreats(g, p) {
		p.Kind = question.Retreat
	}
	q.Action = p
	out := facts.Compute(facts.Input{
		Question: q, Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells,
	})
	sub := Subject(g.member.Rig, p)
	findings := append(g.member.Rules.Judge(ctx, sub, out.Facts, q.At), ownFindings(g, q, snap.Rig, &out)...)
	return verdict.Combine(findings, g.member.Rules.IDs(), rules.Required(sub)) == verdict.Allow
}

// retreats tells whether a slew by axes goes to home or a place of rest.
func retreats(g *group, p question.Action) bool { return Retreats(g.member.Rig, *p.Axes) }
