package pose

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Every exported function takes the state as a value and returns the changed one. Where an event comes with a sample, hand both
// over in one call: each function knows whether the sample shows the rig before the event (Begin, End) or after it (the others);
// a nil sample is none. Each raises the epoch once if it took a permit back, homed, saw or was told of a sync or an act, or
// changed the state of the pose; grants, locks and revisions are the caller's to count.

// turn is one call at work: the state as it came, the one in the making, and what was noticed.
type turn struct {
	w       World
	r       *rig.Rig // as shown
	was     question.PoseState
	granted string // the permit that had not begun when the call came
	live    string // the leave that was live
	s       question.RigState
	notes   []Notice
	raised  bool
	told    *told            // the sync of which the asker tells with this sample
	before  *question.Sample // the last one, before this sample was taken in
	now     time.Time        // of what is taken back; zero: nothing is told of when, and what had leave is over by what comes next
}

// told is what an asker says of a sync.
type told struct {
	leave   *question.SyncLeave // nil: without leave
	refused bool
}

// begin copies what the call may change, so that the caller's state stays as it was.
func begin(w World, s question.RigState) *turn {
	t := &turn{w: w, r: AsShown(w.Rig, s), s: s, was: s.Pose.State}
	if s.Permit != nil {
		p := *s.Permit
		t.s.Permit = &p
		if p.State == question.Granted {
			t.granted = p.ID
		}
	}
	if s.Leave != nil {
		l := *s.Leave
		t.s.Leave = &l
		if l.Live {
			t.live = l.ID
		}
	}
	if s.Homing != nil {
		h := *s.Homing
		h.CountZero = maps.Clone(h.CountZero)
		t.s.Homing = &h
	}
	t.s.Demoted, t.s.Parted = maps.Clone(s.Demoted), maps.Clone(s.Parted)
	t.s.Steps, t.s.Syncs = slices.Clone(s.Steps), slices.Clone(s.Syncs)
	t.s.Recent = slices.Clone(s.Recent) // but no solves: few calls write into them, and those clone them first
	t.s.Learnt, t.s.Pointing = maps.Clone(s.Learnt), maps.Clone(s.Pointing)
	t.s.Anchored = slices.Clone(s.Anchored)
	t.s.Pose.Candidates = slices.Clone(s.Pose.Candidates)
	if t.s.Pose.State == "" {
		t.s.Pose.State, t.was = question.Unknown, question.Unknown
	}
	return t
}

// done raises the epoch where something happened that kills leaves not yet begun, and kills them.
func (t *turn) done() (question.RigState, []Notice) {
	if t.raised || t.s.Pose.State != t.was {
		t.s.Epoch++
		t.kill()
	}
	return t.s, t.notes
}

// kill ends the leaves of an older epoch that have not begun.
func (t *turn) kill() {
	if p := t.s.Permit; p != nil && p.State == question.Granted && p.ID == t.granted {
		p.State, p.Because = question.Withdrawn, "the state of the rig changed before the motion began"
		t.note(Notice{Kind: PermitWithdrawn, Withdraws: true, About: []string{p.ID},
			Sentence: fmt.Sprintf("permit %s is withdrawn: %s", p.ID, p.Because)})
	}
	if l := t.s.Leave; l != nil && l.Live && l.ID == t.live {
		l.Live, l.Because = false, "the state of the rig changed"
	}
}

// note keeps a notice.
func (t *turn) note(n Notice) { t.notes = append(t.notes, n) }

// say keeps a plain notice.
func (t *turn) say(k Kind, about string, format string, args ...any) {
	n := Notice{Kind: k, Sentence: fmt.Sprintf(format, args...)}
	if about != "" {
		n.About = []string{about}
	}
	t.note(n)
}

// alarm keeps a notice that takes the open permit back.
func (t *turn) alarm(k Kind, about string, format string, args ...any) {
	t.say(k, about, format, args...)
	n := &t.notes[len(t.notes)-1]
	if t.takeBack(n.Sentence) {
		n.Withdraws = true
		n.About = append(n.About, t.s.Permit.ID)
	}
}

// takeBack withdraws the open permit and tells whether there was one.
func (t *turn) takeBack(why string) bool {
	p := t.s.Permit
	if !p.Open() {
		return false
	}
	p.State, p.Because = question.Withdrawn, why
	if at := t.now; !at.IsZero() {
		p.WithdrawnAt = &at
	}
	t.raised = true
	return true
}

// doubt keeps the reason for which the pose is not known, until a homing, a statement or a solve settles it. The first reason
// stays: it is where the trouble began.
func (t *turn) doubt(format string, args ...any) { t.doubtBy("", format, args...) }

// doubtBy is doubt, of what something goes by.
func (t *turn) doubtBy(of question.DoubtKind, format string, args ...any) {
	if t.s.Doubt == "" {
		t.s.Doubt, t.s.DoubtOf = fmt.Sprintf(format, args...), of
	}
}

// settled drops the doubt.
func (t *turn) settled() { t.s.Doubt, t.s.DoubtOf = "", "" }

// doubtOf says what raised the doubt. Entries of before that was written tell it by how the sentence begins, in the words of then.
func (t *turn) doubtOf() question.DoubtKind {
	switch {
	case t.s.DoubtOf != "":
		return t.s.DoubtOf
	case strings.HasPrefix(t.s.Doubt, "a solve lies "):
		return question.SolveDoubt
	case strings.HasPrefix(t.s.Doubt, "the polar axis stands "):
		return question.PolarDoubt
	}
	return ""
}

// bySolve tells whether a solve put the axes at a place; in entries of before that was written, by how the reason begins, in the words of then.
func bySolve(c question.Candidate) bool {
	return c.Solve != "" || strings.HasPrefix(c.Because, "where solve ")
}

// maxCandidates bounds how many places are carried. More than this many is no knowledge: the pose is then unknown.
const maxCandidates = 12

// settle makes the pose of the places given: known where nothing is in doubt, the rig is homed and they are one.
func (t *turn) settle(cands []question.Candidate, source rig.SourceKind, x *question.Sample) {
	for within := merged; ; within *= 2 {
		cands = merge(t.r, cands, within, source == rig.Reckoned)
		if len(cands) <= maxCandidates || within > coarsest {
			break
		}
	}
	if len(cands) > maxCandidates {
		t.lose(fmt.Sprintf("there are more than %d places where the axes may be", maxCandidates))
		return
	}
	if source == rig.UnsyncedBelief {
		cands = t.eitherForm(cands)
	}
	t.s.Anchored = cands
	t.show(cands, source, x)
}

// show puts the pose as others read it, the source's own noise included, without settling anything.
func (t *turn) show(cands []question.Candidate, source rig.SourceKind, x *question.Sample) {
	p := question.Pose{State: question.Candidates, Source: source, Because: t.s.Doubt}
	if x != nil {
		p.At = x.Time
	} else {
		p.At = t.s.Pose.At
	}
	if t.s.Homing != nil {
		p.HomingID = t.s.Homing.ID
	}
	noise := t.sigma(source, x)
	if !p.At.IsZero() { // under way nothing is settled, and what a step of the clock leaves open waits for the next anchor
		cands = slices.Clone(cands)
		t.spreadByStep(cands, source, p.At)
	}
	for _, c := range cands {
		c.Sigma = rig.Axes{A1: hypot(c.Sigma.A1, noise.A1), A2: hypot(c.Sigma.A2, noise.A2)}
		p.Candidates = append(p.Candidates, c)
	}
	switch {
	case len(cands) == 0:
		p = question.Pose{State: question.Unknown, At: p.At, Because: t.s.Doubt}
	case len(cands) == 1 && t.s.Doubt == "" && t.s.Homing != nil:
		p.State = question.Known
	case t.s.Doubt == "" && t.s.Homing == nil:
		p.Because = "the axes are not homed: home them, or state where they are"
	case t.s.Doubt == "":
		p.Because = orElse(cands[0].Because, keptApart(cands))
	}
	t.s.Pose = p
}

// lose makes the pose unknown.
func (t *turn) lose(why string) {
	t.s.Doubt, t.s.DoubtOf, t.s.Anchor, t.s.Anchored = why, "", nil, nil
	t.s.Pose = question.Pose{State: question.Unknown, At: t.s.Pose.At, Because: why}
}

// merged is how near two places on one side are one place with a larger uncertainty: well below the pose/sharp limit of 1.2°.
// Common practice, no source.
const merged = 0.25 * unit.Degree

// coarsest is how far apart places are joined where there are too many of them; the uncertainty then says so.
const coarsest = 4 * unit.Degree

// merge joins places that are one for every purpose; the joint uncertainty covers both. Two on either side of the border of sides are one only
// where no belief is read by them (anySide): near it belief says either of two places half a turn apart.
func merge(r *rig.Rig, cands []question.Candidate, within unit.Angle, anySide bool) []question.Candidate {
	var out []question.Candidate
next:
	for _, c := range cands {
		for i := range out {
			o := &out[i]
			if !anySide && r.Kind.SideOf(c.Axes) != r.Kind.SideOf(o.Axes) {
				continue
			}
			d := c.Axes.Sub(o.Axes).Abs()
			near := d.A1 <= within && d.A2 <= within
			if !near && !indistinct(*o, c, d) {
				continue
			}
			if near {
				o.Sigma = rig.Axes{A1: max(o.Sigma.A1, c.Sigma.A1) + d.A1/3, A2: max(o.Sigma.A2, c.Sigma.A2) + d.A2/3}
			} else { // about the middle, from which both reach less far
				o.Axes = o.Axes.Add(c.Axes).Scale(0.5)
				o.Sigma = rig.Axes{A1: max(o.Sigma.A1, c.Sigma.A1) + d.A1/6, A2: max(o.Sigma.A2, c.Sigma.A2) + d.A2/6}
			}
			if o.Kept != c.Kept {
				o.Kept = ""
			}
			continue next
		}
		out = append(out, c)
	}
	return out
}

// indistinct tells whether two places lie so much nearer to each other than either is known that they are one: half a standard deviation.
func indistinct(a, b question.Candidate, d rig.Axes) bool {
	return d.A1 <= min(a.Sigma.A1, b.Sigma.A1)/2 && d.A2 <= min(a.Sigma.A2, b.Sigma.A2)/2
}

// when is the instant of a sample: the asker's time, or where none was told the instant at which it came.
func when(x *question.Sample) time.Time {
	if x.Time.IsZero() {
		return x.Received
	}
	return x.Time
}

// read is when a sample was read, by the service's clock, or by the asker's where nothing else is told.
func read(x *question.Sample) time.Time {
	if x.Read.IsZero() {
		return when(x)
	}
	return x.Read
}

// clock is the service's time at a sample.
func clock(x *question.Sample) time.Time {
	if x.Received.IsZero() {
		return x.Time
	}
	return x.Received
}

func hypot(a, b unit.Angle) unit.Angle { return unit.Angle(math.Hypot(float64(a), float64(b))) }

func sprintf(format string, args ...any) string { return fmt.Sprintf(format, args...) }
