package decide

import (
	"context"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/verdict"

	"keepclear.example/keepclear/service/internal/facts"
)

// proposals keeps, of what the facts propose instead, the first series of questions that would pass: its first one if it were asked now,
// each other one from where the one before would end, as far as that can be foreseen.
func (d *Decider) proposals(ctx context.Context, g *group, q question.Question, snap question.Snapshot, a *Answer) {
	a.Instead, a.Stops = nil, nil
	if a.Verdict == verdict.Allow {
		return
	}
	for _, series := range a.proposed {
		out, passes := d.wouldPass(ctx, g, q, snap, series[0])
		if passes && d.followsOn(ctx, g, snap, out, series[1:]) {
			a.Instead, a.Stops = series, d.stops(g, snap, series)
			return
		}
	}
}

// stops gives those of a series that are slews by axes as positions that the mount understands.
func (d *Decider) stops(g *group, snap question.Snapshot, series []question.Action) []Stop {
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
	for i, s := range facts.AsPositions(facts.Input{Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells}, to) {
		out = append(out, Stop{steps[i], s})
	}
	return out
}

// followsOn tells whether the rest of a series would pass, from where its first would end.
func (d *Decider) followsOn(ctx context.Context, g *group, snap question.Snapshot, out facts.Outcome, rest []question.Action) bool {
	at := snap.At
	for _, p := range rest {
		at = at.Add(time.Duration((out.MotionS + out.FollowS) * float64(time.Second)))
		from := []question.Candidate{{Axes: out.After, Sigma: out.Sigma}}
		next, findings := Foresee(ctx, g.member, d.parts.Moment, d.parts.Cells, snap.Rig.Proof, from, p, at)
		if Foreseen(g.member, p, findings) != verdict.Allow {
			return false
		}
		next.Sigma, out = out.Sigma, next
	}
	return true
}

// wouldPass judges another action in the place of the question's.
func (d *Decider) wouldPass(ctx context.Context, g *group, q question.Question, snap question.Snapshot, p question.Action) (facts.Outcome, bool) {
	if p.Kind == question.Slew && p.Axes != nil && retreats(g, p) {
		p.Kind = question.Retreat
	}
	q.Action = p
	out := facts.Compute(facts.Input{
		Question: q, Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells, Shelf: g.member.Shelf,
	})
	sub := Subject(g.member.Rig, p)
	findings := found(ctx, g, q, snap.Rig, &out)
	return out, verdict.Combine(findings, g.member.Rules.IDs(), rules.Required(sub)) == verdict.Allow
}

// retreats tells whether a slew by axes goes to home or a place of rest.
func retreats(g *group, p question.Action) bool { return Retreats(g.member.Rig, *p.Axes) }
