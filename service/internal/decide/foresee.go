package decide

import (
	"context"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Foresee works out what would be found if an action were asked for at a stated instant, from where the rig would stand then. It takes for
// granted what only that instant can show (belief right, clocks right, fresh samples, no lock): the rules about it do not apply. What gauges found of the
// file (nil: nothing) widens the gaps as it would then.
func Foresee(ctx context.Context, m Member, moment func(time.Time) (*sky.Moment, error), cells int, proof *question.Proof, from []question.Candidate, a question.Action, at time.Time) (facts.Outcome, []verdict.Finding) {
	pose := question.Pose{State: question.Known, Candidates: from, At: at}
	if len(from) > 1 {
		pose.State = question.Candidates
	}
	out := facts.Compute(facts.Input{
		Question: question.Question{Rig: m.Rig.ID, Action: a, At: at}, Snapshot: question.Snapshot{Rig: question.RigState{Pose: pose, Proof: proof}, At: at},
		Rig: m.Rig, Limits: m.Limits, Moment: moment, Cells: cells, Shelf: m.Shelf, Rehearsed: true,
	})
	return out, setAside(m.Rules.Judge(ctx, Subject(m.Rig, a), out.Facts, at))
}

// Foreseen is the verdict on what was foreseen of an action; an allow lets nothing move.
func Foreseen(m Member, a question.Action, findings []verdict.Finding) verdict.Verdict {
	return verdict.Combine(findings, m.Rules.IDs(), requiredHere(Subject(m.Rig, a)))
}

// present are the rules about what only the instant itself can show.
func present() map[string]bool {
	return map[string]bool{"pose/fresh": true, "belief/agrees": true, "time/agree": true, "mount/map": true, "lock/none": true, "rig/proven": true}
}

// setAside marks the rules about the present as not applicable.
func setAside(findings []verdict.Finding) []verdict.Finding {
	out := make([]verdict.Finding, len(findings))
	for i, f := range findings {
		if present()[f.Rule] {
			f = verdict.Finding{Rule: f.Rule, Effect: verdict.NotApplicable, Code: "rehearsed"}
		}
		out[i] = f
	}
	return out
}

// requiredHere is what must have passed: all that is required but the rules about the present.
func requiredHere(sub rules.Subject) []string {
	var out []string
	for _, id := range rules.Required(sub) {
		if !present()[id] {
			out = append(out, id)
		}
	}
	return out
}
