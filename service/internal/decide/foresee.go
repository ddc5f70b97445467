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

// Ahead is what is taken for granted of an instant to come: belief and clocks right, samples fresh, no lock.
type Ahead struct {
	Member Member
	Moment func(time.Time) (*sky.Moment, error)
	Cells  int             // work budget of each proof
	Proof  *question.Proof // what gauges found of the rig file widens the gaps as it would then; nil: nothing yet
}

// Foresee works out what would be found if an action were asked for at a stated instant, from where the rig would stand then: the rules about what only
// that instant can show do not apply. Where proposes is set, what may pass instead is sought, too, which takes longer than all else.
func (w *Ahead) Foresee(ctx context.Context, from []question.Candidate, a question.Action, at time.Time, proposes bool) (facts.Outcome, []verdict.Finding) {
	out := facts.Compute(w.input(from, a, at, proposes))
	return out, setAside(w.Member.Rules.Judge(ctx, Subject(w.Member.Rig, a), out.Facts, at))
}

func (w *Ahead) input(from []question.Candidate, a question.Action, at time.Time, proposes bool) facts.Input {
	pose := question.Pose{State: question.Known, Candidates: from, At: at}
	if len(from) > 1 {
		pose.State = question.Candidates
	}
	m := &w.Member
	return facts.Input{
		Question: question.Question{Rig: m.Rig.ID, Action: a, At: at}, Snapshot: question.Snapshot{Rig: question.RigState{Pose: pose, Proof: w.Proof}, At: at},
		Rig: m.Rig, Limits: m.Limits, Moment: w.Moment, Cells: w.Cells, Shelf: m.Shelf, Rehearsed: true, Proposes: proposes,
	}
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
