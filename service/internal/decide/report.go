package decide

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
)

// Report is one report as understood: a sample, an event, or both. At most one event is set.
type Report struct {
	Rig    string
	Asker  string
	At     time.Time // received, by our clock
	Sent   time.Time
	Sample *question.Sample

	Begin  string // permit id
	End    *EndReport
	Homed  *HomedReport
	Synced *SyncReport
	Act    *pose.Act
	Proved *question.Proof
	Limit  *question.MountLimit
}

// HomedReport is the word that the pose is known afresh.
type HomedReport struct {
	Sensed  bool
	Person  string
	At      *rig.Axes // nil: at home's angles of the rig file
	Sigma   *rig.Axes // one standard deviation; nil: the rig file's, of what a person saw 1° at least
	Closure *rig.Axes // counts at the mark before they were set; nil: not known
}

// attestedSigma is the standard deviation of a pose that a person saw at the marks: ±3° is three of them. From memory.
const attestedSigma = 1 * unit.Degree

// homing is the homing that a report makes of a rig.
func (h *HomedReport) homing(r *rig.Rig, id string, at time.Time) question.Homing {
	out := question.Homing{ID: id, At: at, Sensed: h.Sensed, Person: h.Person, Axes: r.Home, Sigma: r.Homing.Sigma, Closure: h.Closure}
	if !h.Sensed && r.Homing.By == rig.BySensor { // the file speaks of its sensor
		out.Sigma = rig.Axes{A1: attestedSigma, A2: attestedSigma}
	}
	if h.At != nil {
		out.Axes = *h.At
	}
	if h.Sigma != nil {
		out.Sigma, out.SigmaTold = *h.Sigma, true
	}
	return out
}

// EndReport is an asker's word that a motion is over.
type EndReport struct {
	Permit string
	How    pose.EndKind
	Note   string
}

// SyncReport is an asker's word that the mount was told a position.
type SyncReport struct {
	Leave   string
	Refused bool
}

// event tells whether the report carries one.
func (r *Report) event() bool {
	return r.Begin != "" || r.End != nil || r.Homed != nil || r.Synced != nil || r.Act != nil || r.Proved != nil || r.Limit != nil
}

// permit is the id of the permit of which the report tells; empty: of none.
func (r *Report) permit() string {
	if r.End != nil {
		return r.End.Permit
	}
	return r.Begin
}

// Report takes a report in. What changed anything worth an entry is on disk before it returns.
func (d *Decider) Report(ctx context.Context, r Report, req Request) (Outcome, error) {
	g, err := d.group(r.Rig)
	if err != nil {
		return Outcome{}, err
	}
	other, broke := d.tells(g, r.permit()), true
	defer d.nudgeIf(&broke)
	out, w, wrote, err := d.take(ctx, g, r, other, req)
	broke = false
	if err != nil {
		return Outcome{}, fmt.Errorf("taking the report in: %w", err)
	}
	if !wrote {
		return out, nil
	}
	if err := w.Wait(); err != nil {
		return Outcome{}, fmt.Errorf("recording the report: %w", err)
	}
	rc := d.receipt(w.Entry, r.At)
	out.Receipt = &rc
	return out, nil
}

// take does all of a report that happens in the group's turn; other is what the record tells of the permit that it names, where that is not the
// rig's last one.
func (d *Decider) take(_ context.Context, g *group, r Report, other string, req Request) (Outcome, record.Written, bool, error) {
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	if req.ID != "" {
		if w, again, err := d.reportedBefore(req); err != nil || again {
			out, err := d.repliedBefore(g, r, w, err)
			return out, w, again, err
		}
	}
	misfits := reportFits(g.member.Rig, r.Sample)
	if misfits != nil && !r.event() {
		return Outcome{}, record.Written{}, false, misfits
	}
	if misfits != nil {
		r.Sample = fitting(g.member.Rig, *r.Sample)
	}
	before := g.live
	s, notices := d.happen(g, r, other)
	say := told(r, notices)
	if misfits != nil {
		notices = append(notices, leftOut(r.Asker, misfits))
	}
	s.Refused = heard(s.Refused, r.Asker) // this one is understood
	set := d.locksFor(g, notices, r.At)
	if !r.event() && len(notices) == 0 && !notable(before, s) && !g.overdue(s) && !g.setsOut(s) {
		g.live = s
		g.setOpen()
		return d.standing(g, s, r, notices), record.Written{}, false, nil
	}
	out := d.standing(g, s, r, notices) // a panic here leaves nothing on record
	body := state.Body{Event: state.Event{After: &s, Set: set}, Notices: notices}
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{kind: state.Reported, asker: r.Asker, request: req, sentence: say, body: body, awaited: true}, nil, r.At)
	if err != nil {
		g.unheard(r.Asker, "a report could not be recorded: report again what happened")
		return Outcome{}, record.Written{}, false, err
	}
	g.setOpen()
	return out, w, true, nil
}

// repliedBefore is the reply to a report that is on record already, made of its entry: what it showed then, and the permit and the
// epoch of now. Requires the turn.
func (d *Decider) repliedBefore(g *group, r Report, w record.Written, err error) (Outcome, error) {
	if err != nil {
		return Outcome{}, err
	}
	b, err := state.Decode(w.Entry.Body)
	if err != nil {
		return Outcome{}, err
	}
	then := g.live
	if b.Event.After != nil {
		then = *b.Event.After
		then.Solves = g.live.Solves // an entry may hold the new ones alone
	}
	r.At = w.Entry.Time
	out := d.standing(g, then, r, b.Notices)
	out.Repeated, out.Epoch, out.Limits = true, g.live.Epoch, g.live.Limits
	switch p := out.Permit; {
	case p != nil:
		a := Answer{}
		d.leaveNow(g, []string{p.ID}, &then, &a)
		out.Permit = a.Permit
	case g.live.Permit.Open():
		out.Permit = g.live.Permit
	}
	return out, nil
}

// reportedBefore tells whether a report with these bytes is on record: it is not taken in twice.
func (d *Decider) reportedBefore(req Request) (record.Written, bool, error) {
	w, err := d.parts.Record.ByRequestID(context.Background(), req.ID)
	if err != nil {
		return record.Written{}, false, absentIsNil(err)
	}
	if w.Entry.Request.Digest != req.Digest {
		return record.Written{}, false, reused(req.ID, w.Entry)
	}
	return w, true, nil
}

// reused refuses a request id that stands for something else.
func reused(id string, e record.Entry) error {
	return fmt.Errorf("%w: %q stands in entry %d of chain %q; use a new id for what is new", record.ErrReused, id, e.Number, e.Chain)
}

// notable tells whether what changed between two states must survive a restart: everything but the running sample.
func notable(a, b question.RigState) bool {
	strip := func(s question.RigState) question.RigState {
		s.Sample, s.Still, s.Recent, s.SiteAt = nil, nil, nil, time.Time{}
		s.Anchor, s.Anchored, s.Lacking, s.Crept, s.Ahead = nil, nil, nil, rig.Axes{}, nil
		s.Pose.At = time.Time{}
		for i := range s.Pose.Candidates {
			s.Pose.Candidates = append([]question.Candidate(nil), s.Pose.Candidates...)
			s.Pose.Candidates[i].Axes, s.Pose.Candidates[i].Sigma = question.Candidate{}.Axes, question.Candidate{}.Sigma
		}
		return s
	}
	return a.Epoch != b.Epoch || !reflect.DeepEqual(strip(a), strip(b))
}

// restEvery is how long samples may go on without an entry: what is lost with the memory is a place that followed the sky, or rested,
// for so long. Choice: a dozen entries an hour.
const restEvery = 5 * time.Minute

// overdue tells whether the last recorded sample is too old to begin from after a restart. Requires the turn.
func (g *group) overdue(s question.RigState) bool {
	was := g.folded.Rig.Sample
	return s.Sample != nil && (was == nil || s.Sample.Time.Sub(was.Time) >= restEvery)
}

// setsOut tells whether a rig that rests by what is on record may turn by what a sample shows: forgotten, it would count as at rest from its last
// recorded sample on. One that is said to move with no leave is noticed anyhow, one of which no motion is told is not; where leave is open the restart that
// takes it back counts it as anywhere on its way. Requires the turn.
func (g *group) setsOut(s question.RigState) bool {
	was := g.folded.Rig.Sample
	return s.Sample != nil && !s.Sample.Still() && was != nil && was.Still() && !s.Permit.Open()
}

// happen carries the state over the report's sample and event.
func (d *Decider) happen(g *group, r Report, other string) (question.RigState, []pose.Notice) {
	w := d.world(g)
	w.Other = other
	s, notices := pose.Lapse(g.live, r.At)
	var x *question.Sample
	if r.Sample != nil {
		y := *r.Sample
		y.Received, y.Read, y.Asker, y.Up = r.At, readAt(r.At, r.Sent, y.Time), r.Asker, d.up(r.At)
		x = &y
	}
	var more []pose.Notice
	switch {
	case r.Begin != "" && x != nil:
		s, more = pose.Begin(w, s, r.Begin, *x)
	case r.End != nil:
		s, more = pose.End(w, s, r.End.Permit, r.End.How, x)
	case r.Homed != nil:
		s, more = pose.Homed(w, s, r.Homed.homing(g.member.Rig, d.parts.NewID(), r.At), x)
	case r.Synced != nil:
		s, more = pose.Synced(w, s, r.Synced.Leave, r.Synced.Refused, x)
	case r.Act != nil:
		s, more = pose.Acted(w, s, *r.Act, x)
	default:
		if x != nil {
			s, more = pose.Observe(w, s, *x)
		}
		more = append(more, d.note(g, &s, r)...)
	}
	return s, append(notices, more...)
}

// proved is what holds of the rig file in force once a person stated something of it. What was found of it stays found: a proof without the signs only says
// that it no longer counts, and widens gaps by no less than before.
func proved(was *question.Proof, p question.Proof, at time.Time) *question.Proof {
	p.At = at
	if was != nil && was.RigDigest == p.RigDigest && !p.SignsChecked {
		p.ResidualMM = max(p.ResidualMM, was.ResidualMM)
	}
	return &p
}

// otherRevision says that a proof is of another revision of the rig file than the one in force: it says nothing of that, so what holds of it stays.
func otherRevision(p, was *question.Proof, ours [32]byte) pose.Notice {
	stays := "if that is the file that was measured, tell it again with its digest"
	if was != nil && was.RigDigest == ours {
		stays = fmt.Sprintf("that of %s of %s stays as it is", was.Person, was.At.UTC().Format(time.DateOnly))
	}
	return pose.Notice{Kind: pose.EventMismatch, Sentence: fmt.Sprintf("the proof of %s is not taken in: it is of revision %x of the rig file, and the one in force is %x; %s", p.Person, p.RigDigest, ours, stays)}
}

// note takes in events that concern no pose, and what they say of the rig's sources.
func (d *Decider) note(g *group, s *question.RigState, r Report) (notices []pose.Notice) {
	ours := g.member.Rig.Digest
	switch {
	case r.Proved != nil && r.Proved.RigDigest != ours:
		return []pose.Notice{otherRevision(r.Proved, s.Proof, ours)}
	case r.Proved != nil:
		s.Proof = proved(s.Proof, *r.Proved, r.At)
		if r.Proved.SignsChecked {
			*s, notices = pose.ProvedAnew(d.world(g), *s, r.Proved.Person)
		}
	case r.Limit != nil:
		l := *r.Limit
		l.Seen = r.At
		var kept []question.MountLimit
		for _, o := range s.Limits {
			if o.Axis != l.Axis {
				kept = append(kept, o)
			}
		}
		s.Limits = append(kept, l)
	}
	return notices
}

// told is the entry's line.
func told(r Report, notices []pose.Notice) string {
	switch {
	case len(notices) > 1 && r.event():
		return allOf(notices)
	case len(notices) > 0:
		return notices[len(notices)-1].Sentence
	case r.Proved != nil:
		return fmt.Sprintf("%s proved the rig file: residual %.1f mm.", r.Proved.Person, r.Proved.ResidualMM)
	case r.Limit != nil:
		return fmt.Sprintf("The mount's limit of axis %d was seen at %.1f°.", r.Limit.Axis, r.Limit.Limit.Deg())
	case r.End != nil:
		return fmt.Sprintf("Told that the motion of permit %s is over: %s%s.", r.End.Permit, r.End.How, noted(r.End.Note))
	case r.Synced != nil:
		return toldSync(r.Synced)
	case r.event():
		return "Something was reported that no sample showed yet."
	}
	return "A sample was taken in."
}

// mostSaid bounds the notices of one event that its entry's line says; all of them stand in its body.
const mostSaid = 4

// allOf says what came of an event: who did it, what it made void and what was noticed beside it are notices of their own.
func allOf(notices []pose.Notice) string {
	var all []string
	for _, n := range notices {
		if !slices.Contains(all, n.Sentence) {
			all = append(all, n.Sentence)
		}
	}
	if more := len(all) - mostSaid; more > 0 {
		all = append(all[:mostSaid], fmt.Sprintf("and %d more, with the entry's notices", more))
	}
	return strings.Join(all, "; ")
}

func toldSync(s *SyncReport) string {
	on := "without leave"
	if s.Leave != "" {
		on = "on leave " + s.Leave
	}
	if s.Refused {
		return "Told that the mount refused a sync " + on + "."
	}
	return "Told that the mount was synced " + on + "."
}

// noted appends the asker's own words where there are any.
func noted(note string) string {
	if note == "" {
		return ""
	}
	return " (" + note + ")"
}

// standing is how the rig stands after a report that left it in a state.
func (d *Decider) standing(g *group, s question.RigState, r Report, notices []pose.Notice) Outcome {
	out := Outcome{Epoch: s.Epoch, Permit: s.Permit, Limits: s.Limits, Notices: notices, HomingID: s.Pose.HomingID, At: r.At, Sent: r.At} // see sentTime
	if r.End == nil && r.Begin == "" && !s.Permit.Open() {
		out.Permit = nil
	}
	until := d.harmless(g, s, r.At)
	out.HarmlessUntil = until
	out.StopTracking = s.Sample != nil && s.Sample.Doing == question.Tracking && soon(question.Snapshot{Rig: s, At: r.At}, until, g.member.Limits)
	return out
}

// harmless is how long carrying on as last reported stays clear.
func (d *Decider) harmless(g *group, s question.RigState, at time.Time) *time.Time {
	return facts.Harmless(facts.Input{
		Snapshot: question.Snapshot{Rig: s, At: at}, Rig: g.member.Rig, Limits: g.member.Limits, Moment: d.parts.Moment, Cells: d.parts.Cells, Shelf: g.member.Shelf,
	})
}
