package decide

import (
	"context"
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// PracticeWord is the critical word of a permit that no real rig may move on.
const PracticeWord = "practice"

// slack is how much longer than predicted a motion may take before its permit is over: a fifth and five seconds.
// Common practice, no source.
const (
	slackShare = 0.2
	slackTime  = 5 * time.Second
)

// Subject is what the rules need to know of an action to see which of them apply.
func Subject(r *rig.Rig, a question.Action) rules.Subject {
	s := rules.Subject{Action: string(a.Kind), Lacks: r.Lacks}
	if a.Kind == question.Slew && a.Sky != nil {
		s.Traits = append(s.Traits, rules.SkyTarget)
	}
	if a.Follow > 0 || a.Kind == question.Track {
		s.Traits = append(s.Traits, rules.Tracks)
	}
	return s
}

// sentTime is when a question is taken to have been sent: when it came in. Durations that an asker counts from its sending then end
// sooner than they must, by the time that the message took; counted from the sending time told, a clock that is an hour slow would
// make them an hour too long.
func sentTime(q question.Question) time.Time { return q.At }

// found is what the rules and we find of a question, from its facts.
func found(ctx context.Context, g *group, q question.Question, s question.RigState, out *facts.Outcome) []verdict.Finding {
	all := g.member.Rules.Judge(ctx, Subject(g.member.Rig, q.Action), out.Facts, q.At)
	hearAgain(all, q.Rig, s.Refused)
	return append(all, ownFindings(g, q, s, out)...)
}

// ownFindings are the holds of Go's own about permits, which no rule reads: they can only add to what the rules say.
func ownFindings(g *group, q question.Question, s question.RigState, out *facts.Outcome) []verdict.Finding {
	var all []verdict.Finding
	if f, busy := onePermit(q, s); busy {
		all = append(all, f)
	}
	if f, unheard := unheardHome(q, s); unheard {
		all = append(all, f)
	}
	if f, stale := staleHome(g, q, s); stale {
		all = append(all, f)
	}
	if f, fast := slowJog(g, q, s, out); fast {
		all = append(all, f)
	}
	if f, turns := creepsUnderWay(q, s); turns {
		all = append(all, f)
	}
	return all
}

// slowJog holds a creep, and a jog from a pose that may be one of several, unless it asks to go slowly, and proposes that.
func slowJog(g *group, q question.Question, s question.RigState, out *facts.Outcome) (verdict.Finding, bool) {
	most, _ := g.member.Limits.Value("permit", "jog_deg_per_s")
	rate := q.Action.Rate
	creeps := q.Action.Kind == question.Creep
	if !creeps && (q.Action.Kind != question.Jog || s.Pose.State == question.Known) || rate != nil && rate.Deg() <= most*(1+1e-9) {
		return verdict.Finding{}, false
	}
	slow := q.Action
	limit := unit.Deg(most)
	slow.Rate, slow.Message = &limit, nil
	out.Instead = append([]facts.Proposal{{Steps: []question.Action{slow}}}, out.Instead...)
	say := fmt.Sprintf("a creep may go no faster than %.2f°/s", most)
	if !creeps {
		say = fmt.Sprintf("%s, so a jog may go no faster than %.2f°/s", unsure(s.Pose), most)
	}
	return verdict.Finding{
		Rule: "permit/slow", Effect: verdict.Holds, Code: "jog_too_fast", Limit: &most, Unit: "deg_per_s",
		Sentence: "Held: " + say + ".", Remedy: "Ask for the same " + string(q.Action.Kind) + " at that rate.",
		Needs: []verdict.Need{{Kind: "asker", Sentence: say}},
	}, true
}

// creepsUnderWay holds a creep of a rig that is not known to rest: what is proven is the turn of one axis, and what else turns, the sky with a rig
// that tracks, may close what it opens.
func creepsUnderWay(q question.Question, s question.RigState) (verdict.Finding, bool) {
	if q.Action.Kind != question.Creep || s.Sample != nil && s.Sample.Doing == question.AtRest {
		return verdict.Finding{}, false
	}
	say := "no sample says that the rig rests, and a creep is proven for one that does"
	return verdict.Finding{
		Rule: "permit/slow", Effect: verdict.Holds, Code: "creep_under_way",
		Sentence: "Held: " + say + ".", Remedy: "Stop the mount, which needs no leave, send a sample that shows it at rest, and ask again.",
		Needs: []verdict.Need{{Kind: verdict.NeedSample, Sentence: say}},
	}, true
}

// unsure says in how far a pose is not known.
func unsure(p question.Pose) string {
	if n := len(p.Candidates); n > 1 {
		return fmt.Sprintf("the pose is one of %d places", n)
	}
	return "the pose is not known for sure"
}

// onePermit holds a motion while another permit of the rig is open and the question does not name it.
func onePermit(q question.Question, s question.RigState) (verdict.Finding, bool) {
	if q.Action.Kind == question.Sync || !s.Permit.Open() || s.Permit.ID == q.Replaces {
		return verdict.Finding{}, false
	}
	id := s.Permit.ID
	say := fmt.Sprintf("permit %s of %s is still open (%s)", id, nameOr(s.Permit.Asker), s.Permit.Action.Kind)
	remedy := "If nothing moves on it, take it back (withdraw); else wait for its end, or name it as the permit that this one replaces."
	return verdict.Finding{
		Rule: "permit/one", Effect: verdict.Holds, Code: "permit_open", About: []string{id},
		Sentence: "Held: " + say + "; a rig has one permit at a time.",
		Remedy:   remedy,
		Needs:    []verdict.Need{{Kind: verdict.NeedPermitEnd, Sentence: remedy, About: id}},
	}, true
}

func nameOr(asker string) string {
	if asker == "" || asker == unnamed {
		return "an unnamed asker"
	}
	return asker
}

// Sentence is the answer in one line.
func Sentence(v verdict.Verdict, findings []verdict.Finding) string {
	if worst, any := verdict.Gravest(findings); any && v != verdict.Allow && worst.Sentence != "" {
		return worst.Sentence
	}
	if v == verdict.Allow {
		return "Every rule that applies passed."
	}
	return "Held: the rules gave no full set of passes."
}

// soon tells whether doing nothing stays clear for less than a stop that nobody makes would need.
func soon(snap question.Snapshot, until *time.Time, lim limits.Set) bool {
	if until == nil {
		return snap.Rig.Sample != nil && snap.Rig.Sample.Doing == question.Tracking
	}
	spare, ok := lim.Value("asker/fallback", "unstopped_spare_s")
	if !ok {
		spare = 600
	}
	return until.Sub(snap.At).Seconds() < spare
}

// startWithin is how long a leave waits to be used: at the ask level while the sample stays fresh, never longer than the limit. A homing wants no
// fresh sample but of a rig that moves: its way is proven from all that the age of the last one allows, and from where the sky takes a rig
// that tracks within the limit.
func startWithin(g *group, q question.Question, snap question.Snapshot) time.Duration {
	most, ok := g.member.Limits.Value("permit", "start_within_s")
	if !ok {
		most = 0
	}
	s := snap.Rig.Sample
	if q.BeginLater || q.Action.Kind == question.Home && s != nil && s.Still() {
		return seconds(most)
	}
	fresh, _ := g.member.Limits.Value("pose/fresh", "age_s")
	if s != nil && !s.Time.IsZero() {
		if !s.Still() {
			fresh, _ = g.member.Limits.Value("pose/fresh", "moving_age_s")
		}
		left := fresh - snap.At.Sub(s.Time).Seconds()
		most = math.Min(most, math.Max(0, left))
	}
	return seconds(most)
}

// staleHome holds a homing that would be allowed for no time at all, as of a rig that moved in an old sample. Nobody could use that leave, and it
// would stand in the way of the next question.
func staleHome(g *group, q question.Question, s question.RigState) (verdict.Finding, bool) {
	if q.Action.Kind != question.Home || s.Sample == nil || startWithin(g, q, question.Snapshot{Rig: s, At: q.At}) > 0 {
		return verdict.Finding{}, false
	}
	age := q.At.Sub(s.Sample.Time).Seconds()
	say := fmt.Sprintf("the newest sample that was taken in is %.0f s old, so that leave to home would be over before it began", age)
	return verdict.Finding{
		Rule: "permit/fresh", Effect: verdict.Holds, Code: "sample_old",
		Sentence: "Held: " + say + ".", Remedy: "Send a fresh sample with the question; where samples are refused, the reply to the last one says why.",
		Needs: []verdict.Need{{Kind: verdict.NeedSample, Sentence: say}},
	}, true
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// draft makes the permit of an allowed motion, without its epoch.
func (d *Decider) draft(g *group, q question.Question, snap question.Snapshot, out *facts.Outcome) *question.Permit {
	within := startWithin(g, q, snap)
	start := q.At.Add(within)
	whole := seconds(out.MotionS*(1+slackShare)) + slackTime + seconds(out.FollowS)
	p := &question.Permit{
		ID: d.parts.NewID(), RequestID: q.ID, Rig: q.Rig, Action: q.Action, State: question.Begun, Asker: q.Asker,
		Asked: q.At, StartBy: start, StartWithin: start.Sub(sentTime(q)), StopBy: start.Add(whole), StopWithin: start.Add(whole).Sub(sentTime(q)),
		FirstContact: out.FirstContact, From: out.Start, Sigma: out.Sigma, MotionS: out.MotionS, Tracks: out.Tracks,
		Homing: snap.Rig.Pose.HomingID, Source: snap.Rig.Pose.Source, Parts: out.Parts, Legs: out.Legs, Closest: out.Closest,
	}
	if t := out.TrackEnds; t != nil && t.Before(p.StopBy) {
		p.StopBy, p.StopWithin = *t, t.Sub(sentTime(q))
	}
	for i, e := range out.Ends {
		p.Ends, p.EndS = append(p.Ends, e.Axes), append(p.EndS, e.MotionS)
		if e.Aimed {
			p.Aimed = append(p.Aimed, i)
		}
	}
	if q.BeginLater {
		p.State = question.Granted
	} else {
		at := q.At
		p.BegunAt = &at
	}
	if g.member.Rig.Practice {
		p.Critical = []string{PracticeWord}
	}
	return p
}

// leave makes the sync leave of an allowed sync, without its epoch.
func (d *Decider) leave(q question.Question, snap question.Snapshot, out *facts.Outcome) *question.SyncLeave {
	g := d.groups[q.Rig]
	within := startWithin(g, q, snap)
	use := q.At.Add(within)
	l := &question.SyncLeave{
		ID: d.parts.NewID(), RequestID: q.ID, Rig: q.Rig, Action: q.Action, Asked: q.At,
		UseBy: use, UseWithin: use.Sub(sentTime(q)), Live: true, Expected: out.SyncAxes,
	}
	if g.member.Rig.Practice {
		l.Critical = []string{PracticeWord}
	}
	return l
}

// grant puts an allowed leave into the state that follows: a permit replaces the one it names, which is closed with a notice, and raises
// the epoch; a sync leave lapses with any permit to move.
func (d *Decider) grant(a *Answer, s *question.RigState) (closed []pose.Notice) {
	switch {
	case a.Permit != nil:
		if s.Permit.Open() {
			a.replaces = s.Permit.ID
			closed = append(closed, replaced(s, a.Permit.ID))
		}
		if s.Leave != nil && s.Leave.Live {
			l := *s.Leave
			l.Live, l.Because = false, "a motion was permitted after it"
			s.Leave = &l
		}
		s.Epoch++
		a.Permit.Epoch = s.Epoch
		p := *a.Permit
		s.Permit = &p
	case a.Leave != nil:
		s.Epoch++
		a.Leave.Epoch = s.Epoch
		l := *a.Leave
		s.Leave = &l
	}
	return closed
}

// replaced is the closing notice of a permit whose place another takes: what became of it, and how near its way came to anything.
func replaced(s *question.RigState, by string) pose.Notice {
	p := s.Permit
	say := fmt.Sprintf("permit %s is over: replaced by permit %s", p.ID, by)
	switch {
	case p.State == question.Granted:
		say += "; it never began"
	case len(s.Pose.Candidates) > 0:
		say += fmt.Sprintf("; the rig is at %s", s.Pose.Candidates[0].Axes)
	}
	if p.Closest != nil && p.State == question.Begun {
		say += fmt.Sprintf("; %.0f mm between %s and %s was the least proven on its way", p.Closest.LowerMM, p.Closest.Parts[0], p.Closest.Parts[1])
	}
	return pose.Notice{Kind: pose.PermitEnded, Sentence: say, About: []string{p.ID, by}}
}

// Retreats tells whether mechanical angles are home or a place of rest of the rig file, to a thousandth of a degree.
func Retreats(r *rig.Rig, to rig.Axes) bool {
	near := func(a rig.Axes) bool { return a.Sub(to).Abs().Max().Deg() < 1e-3 }
	if near(r.Home) {
		return true
	}
	for _, p := range r.Rests {
		if near(p.Axes) {
			return true
		}
	}
	return false
}
