package decide

import (
	"context"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Rigs returns the ids of all rigs, in order.
func (d *Decider) Rigs() []string { return append([]string(nil), d.order...) }

// Member returns a rig with what judges it.
func (d *Decider) Member(rigName string) (Member, error) {
	g, err := d.group(rigName)
	if err != nil {
		return Member{}, err
	}
	return g.member, nil
}

// Look returns one rig as it stands. It changes nothing.
func (d *Decider) Look(ctx context.Context, rigName string) (View, error) {
	return d.LookAt(ctx, rigName, d.parts.Now())
}

// LookAt is Look for a caller that has read the clock: what is judged together goes by one reading.
func (d *Decider) LookAt(ctx context.Context, rigName string, now time.Time) (View, error) {
	g, err := d.group(rigName)
	if err != nil {
		return View{}, err
	}
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	s, _ := pose.Lapse(g.live, now)
	v := View{Rig: g.member.Rig, State: s, Pose: pose.At(d.world(g), s, now), Locks: d.locks(g), At: now}
	if why := widened(s.Pose, v.Pose); v.Pose.State == question.Known && v.Pose.Because == "" {
		v.Pose.Because = why
	}
	left := pose.LeftOut(g.member.Rig, s)
	if v.Pose.State == question.Known && v.Pose.Because == "" {
		v.Pose.Because = left
	}
	v.HarmlessUntil = d.harmless(g, s, now)
	v.Needs = d.standingNeeds(ctx, g, s, now)
	if left != "" && v.Pose.State != question.Known { // else nothing has to wait for it
		v.Needs = append(v.Needs, verdict.Need{Kind: verdict.NeedRigProof, Sentence: strings.ToUpper(left[:1]) + left[1:] + "."})
	}
	return v, nil
}

// Where is where a rig is held to be at an instant: of Look the pose alone, which costs next to nothing.
func (d *Decider) Where(rigName string, now time.Time) (question.Pose, error) {
	p, _, err := d.Going(rigName, now)
	return p, err
}

// Going is where a rig is held to be at an instant, and its open permit, nil where there is none: it costs as little as Where.
func (d *Decider) Going(rigName string, now time.Time) (question.Pose, *question.Permit, error) {
	g, err := d.group(rigName)
	if err != nil {
		return question.Pose{}, nil, err
	}
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	s, _ := pose.Lapse(g.live, now)
	if !s.Permit.Open() {
		return pose.At(d.world(g), s, now), nil, nil
	}
	permit := *s.Permit
	return pose.At(d.world(g), s, now), &permit, nil
}

// Proof is what a person last stated of a rig's file; nil: nobody did.
func (d *Decider) Proof(rigName string) (*question.Proof, error) {
	g, err := d.group(rigName)
	if err != nil {
		return nil, err
	}
	g.turn.Lock()
	defer g.turn.Unlock()
	return g.live.Proof, nil // never written in place
}

// muchWider is how much the uncertainty of a pose must have grown since its sample to be told of. Choice: the most that it may be for a slew
// is 1.2° by default.
const muchWider = 1 * unit.Degree

// widened says why a pose, carried to now, is known so much worse than by its sample; empty: it is not.
func widened(shown, carried question.Pose) string {
	if len(shown.Candidates) == 0 || len(carried.Candidates) == 0 {
		return ""
	}
	if more := carried.Candidates[0].Sigma.Sub(shown.Candidates[0].Sigma); max(more.A1, more.A2) < muchWider {
		return ""
	}
	return "the axes may have turned since the last sample: a new one shows where they are"
}

// standingNeeds is what stands in the way of any slew now: the holds of the rules that concern no target.
func (d *Decider) standingNeeds(ctx context.Context, g *group, s question.RigState, now time.Time) []verdict.Need {
	home := g.member.Rig.Home
	q := question.Question{Rig: g.name, At: now, Action: question.Action{Kind: question.Slew, Axes: &home}}
	snap := question.Snapshot{Rig: s, Locks: d.locks(g), Clock: d.parts.Clock(now), At: now}
	out := facts.Compute(facts.Input{Question: q, Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells, Shelf: g.member.Shelf})
	needs := verdict.Needs(found(ctx, g, q, s, &out))
	if err := d.Down(); err != nil { // before all: nothing of the rest can be answered meanwhile, nor reported
		needs = slices.Insert(needs, 0, verdict.Need{Kind: verdict.NeedRepair, Sentence: "Nothing is answered but stopping: " + err.Error() + "."})
	}
	return needs
}

// Down tells why the record takes nothing; nil while it does.
func (d *Decider) Down() error { return d.parts.Record.Down() }

// Now is the service's clock.
func (d *Decider) Now() time.Time { return d.parts.Now() }

// Rehearsal records a rehearsal on its rig's chain. It changes nothing that is held.
func (d *Decider) Rehearsal(rigName, asker, sentence string, at time.Time, req Request, response state.Exchanged) (Receipt, error) {
	g, err := d.group(rigName)
	if err != nil {
		return Receipt{}, err
	}
	w, err := d.putAtHead(g, entry{
		kind: state.Rehearsed, asker: asker, request: req, sentence: sentence, body: state.Body{Response: response},
	}, at)
	if err != nil {
		return Receipt{}, err
	}
	if err := w.Wait(); err != nil {
		return Receipt{}, err
	}
	return d.receipt(w.Entry, at), nil
}

// Moment is the sky at an instant.
func (d *Decider) Moment(t time.Time) (*sky.Moment, error) { return d.parts.Moment(t) }

// Cells is the work budget of each proof.
func (d *Decider) Cells() int { return d.parts.Cells }
