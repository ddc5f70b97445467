package decide

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Ask judges one question. The answer has its entry on disk; an error means that nothing may move. Where ctx is over when its turn comes it is
// not begun; once begun it is judged and recorded whatever becomes of ctx.
func (d *Decider) Ask(ctx context.Context, q question.Question, r Request) (Answer, error) {
	g, err := d.group(q.Rig)
	if err != nil {
		return Answer{}, err
	}
	broke := true
	defer d.nudgeIf(&broke)
	answer, written, err := d.judge(ctx, g, q, r)
	broke = false
	if err != nil {
		return Answer{}, fmt.Errorf("judging %s: %w", q.ID, err)
	}
	if err := written.Wait(); err != nil { // outside the turn: many askers, one flush; a cancelled asker does not stop it
		g.neverLeft(&answer)
		return Answer{}, fmt.Errorf("recording %s: %w", q.ID, err)
	}
	answer.Receipt = d.receipt(written.Entry, answer.At)
	d.present(g, &answer)
	return answer, nil
}

// judge does all of a question that happens in the group's turn.
func (d *Decider) judge(ctx context.Context, g *group, q question.Question, r Request) (Answer, record.Written, error) {
	g.turn.Lock()
	defer g.turn.Unlock()
	if err := ctx.Err(); err != nil {
		return Answer{}, record.Written{}, err // nobody waits for the answer any more, so no permit begins with it
	}
	ctx = context.WithoutCancel(ctx)
	if a, w, err := d.repeated(g, r); err != nil || a.Repeated {
		return a, w, err
	}
	if err := fits(g.member.Rig, q); err != nil {
		return Answer{}, record.Written{}, err
	}
	takes, _ := g.takesSoFar()
	g.settle()
	head := d.parts.Record.Head(g.name)
	before, unheard, notices := d.takeIn(g, q)
	set := d.locksFor(g, notices, q.At)
	snap := question.Snapshot{Rig: before, Locks: append(d.locks(g), set...), Clock: d.parts.Clock(q.At), At: q.At, Unheard: unheard}
	answer, solve := d.weigh(ctx, g, q, snap)
	after := before
	if solve != nil {
		var more []pose.Notice
		after, more = pose.Evidence(d.world(g), after, *solve)
		notices = append(notices, more...)
		set = append(set, d.locksFor(g, more, q.At)...)
	}
	notices = append(notices, d.grant(&answer, &after)...)
	d.proposals(ctx, g, q, snap, &answer)
	w, err := d.put(g, head, entry{
		kind: state.Asked, asker: q.Asker, request: r, verdict: string(answer.Verdict), sentence: answer.Sentence, awaited: true,
		body: state.Body{Event: state.Event{After: &after, Set: set}, Question: &q, Snapshot: &snap, Facts: answer.Facts, Findings: answer.Findings, Notices: notices},
	}, &answer, q.At)
	if err != nil {
		return Answer{}, record.Written{}, err
	}
	if now, by := g.takesSoFar(); now != takes { // a withdrawal or a lock came while this was judged: it wins
		g.live = pose.Withdraw(g.live, by.why, by.at)
	}
	g.setOpen()
	return answer, w, nil
}

// takeIn lapses what time alone ends and takes a question's own samples in, that of mid-exposure before the present one. Unheard says why one
// of them was not taken in: what is held then is not what the asker says, unless it says the same. Requires the turn.
func (d *Decider) takeIn(g *group, q question.Question) (s question.RigState, unheard string, notices []pose.Notice) {
	s, notices = pose.Lapse(g.live, q.At)
	take := func(sample *question.Sample) {
		x := *sample
		x.Received, x.Read, x.Asker, x.Up = q.At, readAt(q.At, q.Sent, x.Time), q.Asker, d.up(q.At)
		var more []pose.Notice
		s, more = pose.Observe(d.world(g), s, x)
		notices = append(notices, more...)
		for _, n := range more {
			if n.Kind == pose.Ignored && !pose.Agrees(&x, s) {
				unheard = n.Sentence
			}
		}
	}
	if v := q.Action.Solve; v != nil && v.Mid != nil && newer(v.Mid, s.Sample) {
		take(v.Mid)
	}
	if q.Sample != nil {
		take(q.Sample)
	}
	return s, unheard, notices
}

// readAt is when a sample was read, by our clock: as long before it came as it was old when it was sent, by the asker's clock alone, which may be off
// from ours. Zero where that is not told, or the clock so far off that what it says of anything counts for nothing.
func readAt(at, sent, read time.Time) time.Time {
	if sent.IsZero() || read.IsZero() || !facts.AskedAt(question.Question{At: at, Sent: sent}).Equal(at) {
		return time.Time{}
	}
	return at.Round(0).Add(min(0, read.Sub(sent)))
}

// newer tells whether a sample is later than the last one; one without a time is not.
func newer(x, last *question.Sample) bool {
	return !x.Time.IsZero() && (last == nil || x.Time.After(last.Time))
}

// locksFor makes the locks that notices call for.
func (d *Decider) locksFor(g *group, notices []pose.Notice, at time.Time) []question.Lock {
	var out []question.Lock
	for _, n := range notices {
		if n.Locks {
			out = append(out, question.Lock{ID: d.parts.NewID(), Rig: g.name, SetBy: Ourselves, Reason: n.Sentence, Set: at})
		}
	}
	return out
}

// weigh computes facts, findings and verdict. It changes nothing.
func (d *Decider) weigh(ctx context.Context, g *group, q question.Question, snap question.Snapshot) (Answer, *question.JudgedSolve) {
	out := facts.Compute(facts.Input{
		Question: q, Snapshot: snap, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells, Shelf: g.member.Shelf, Proposes: true,
	})
	sub := Subject(g.member.Rig, q.Action)
	findings := found(ctx, g, q, snap.Rig, &out)
	a := Answer{
		Verdict:  verdict.Combine(findings, g.member.Rules.IDs(), rules.Required(sub)),
		Findings: findings, Facts: out.Facts, Ends: out.Ends, Closest: out.Closest, Notes: out.Notes,
		proposed: out.Instead, HarmlessUntil: out.HarmlessUntil, Limits: snap.Rig.Limits, At: q.At, Sent: sentTime(q),
	}
	verdict.Sort(a.Findings)
	a.Sentence = Sentence(a.Verdict, a.Findings)
	if a.Verdict == verdict.Hold {
		a.Needs = verdict.Needs(findings)
	}
	if a.Verdict == verdict.Allow {
		a.Permit, a.Leave, a.Instead = d.draft(g, q, snap, &out), nil, nil
		if q.Action.Kind == question.Sync {
			a.Leave, a.Permit = d.leave(q, snap, &out), nil
		}
	}
	a.StopTracking = a.Verdict != verdict.Allow && soon(snap, out.HarmlessUntil, g.member.Limits)
	return a, finished(out.Solve, a)
}

// finished fills in what became of a solve. A solve is good evidence if every rule about the picture itself passed.
func finished(s *question.JudgedSolve, a Answer) *question.JudgedSolve {
	if s == nil {
		return nil
	}
	j := *s
	j.Good = true
	for _, f := range a.Findings {
		failed := f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable
		if failed && strings.HasPrefix(f.Rule, "solve/") {
			j.Good = false
		}
		if f.Rule == "sync/expected" {
			j.Agreed = f.Effect == verdict.Passes
		}
	}
	j.Against = !j.Agreed && j.Good
	switch a.Verdict {
	case verdict.Allow:
		j.Verdict = question.Leaved
	case verdict.Deny:
		j.Verdict = question.Refused
	case verdict.Hold:
		j.Verdict = question.Held
	}
	return &j
}

// repeated answers a request id that is on record already: the response of then, and leave as it stands now.
func (d *Decider) repeated(g *group, r Request) (Answer, record.Written, error) {
	w, err := d.parts.Record.ByRequestID(context.Background(), r.ID)
	switch {
	case errors.Is(err, record.ErrAbsent):
		return Answer{}, record.Written{}, nil
	case err != nil:
		return Answer{}, record.Written{}, err
	case w.Entry.Request.Digest != r.Digest:
		return Answer{}, record.Written{}, reused(r.ID, w.Entry)
	}
	b, err := state.Decode(w.Entry.Body)
	if err != nil {
		return Answer{}, record.Written{}, err
	}
	a := Answer{Repeated: true, Stored: b.Response, At: w.Entry.Time, Limits: g.live.Limits}
	if b.Question != nil {
		a.Sent = sentTime(*b.Question)
	}
	d.leaveNow(g, w.Entry.LeaveIDs, b.Event.After, &a)
	return a, w, nil
}

// leaveNow finds how the leave of an old entry stands now. One that is no longer the rig's last is over. Requires the turn.
func (d *Decider) leaveNow(g *group, ids []string, then *question.RigState, a *Answer) {
	if then == nil {
		return
	}
	for _, id := range ids {
		if p := then.Permit; p != nil && p.ID == id {
			now := *p
			if g.live.Permit != nil && g.live.Permit.ID == id {
				now = *g.live.Permit
			} else if now.Open() {
				now.State, now.Because = question.Ended, tookItsPlace
			}
			a.Permit = &now
		}
		if l := then.Leave; l != nil && l.ID == id {
			now := *l
			if g.live.Leave != nil && g.live.Leave.ID == id {
				now = *g.live.Leave
			} else {
				now.Live, now.Because = false, tookItsPlace
			}
			a.Leave = &now
		}
	}
}

// tookItsPlace is told of leave that was open when it was given and is no longer the rig's last: how it ended stands on record.
const tookItsPlace = "it is over: another was given since"

// present brings the leave of an answer up to date that waited for the disk, or was asked for again: it may have been taken back meanwhile,
// or its time be over, which nothing may have noticed yet where this process stood still.
func (d *Decider) present(g *group, a *Answer) {
	if a.Permit == nil && a.Leave == nil {
		return
	}
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	lapsed, _ := pose.Lapse(g.live, d.parts.Now()) // of it only what is over: its instants are of another clock where that was set
	if p := g.live.Permit; a.Permit != nil {
		switch {
		case p != nil && p.ID == a.Permit.ID:
			now := *p
			now.State, now.Because = lapsed.Permit.State, lapsed.Permit.Because
			a.Changed = !reflect.DeepEqual(&now, a.Permit)
			a.Permit = &now
		case a.Permit.Open():
			now := *a.Permit
			now.State, now.Because = question.Ended, tookItsPlace
			a.Permit, a.Changed = &now, true
		}
	}
	if l := g.live.Leave; a.Leave != nil {
		if l != nil && l.ID == a.Leave.ID {
			now := *l
			now.Live, now.Because = lapsed.Leave.Live, lapsed.Leave.Because
			a.Changed = !reflect.DeepEqual(&now, a.Leave)
			a.Leave = &now
		} else {
			now := *a.Leave
			now.Live, now.Because = false, tookItsPlace
			a.Leave, a.Changed = &now, true
		}
	}
}
