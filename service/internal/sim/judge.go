package sim

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// judge holds the invariants against all that leaves the service and all that its record says.
type judge struct {
	w     *world
	s     *site
	wires *wires
	rigs  []decide.Member // with the rules as they should be

	first  map[string]*asked // by request id
	leaves map[string][]*asked
	kept   []receipt
	count  Count
}

// Count is what a night came to.
type Count struct {
	Questions, Allows, Holds, Denies int
	Held                             map[string]int // by the rule that held, or denied
	HeldFor                          []string       // the sentences of holds
	Motions, Excused                 int            // under leave, and those of which the truth could not be told
	Starts, Cuts, Kills              int            // of the service; how often its power went, or it was killed
	Trapped                          int            // rigs that every way home was denied to, so that a person turned them by hand
	Nearest                          float64        // mm, of any motion that was judged
}

// asked is a question and the first answer to it.
type asked struct {
	id, rig string
	raw     []byte
	reply   *pb.AskResponse
	bytes   []byte // of its judgement
	over    bool   // its permit was seen to be over: it must never be open again
}

// receipt is the witness of an entry that an asker keeps.
type receipt struct {
	place record.Place
	id    string
	reply []byte // of a question: the response without its receipt
}

func newJudge(w *world, s *site, x *wires, rigs []decide.Member) *judge {
	return &judge{w: w, s: s, wires: x, rigs: rigs, first: map[string]*asked{}, leaves: map[string][]*asked{},
		count: Count{Held: map[string]int{}, Nearest: math.Inf(1)}}
}

// left takes in a reply at the instant at which it left.
func (j *judge) left(a answered) {
	short := sha256.Sum256(a.reply)
	if a.err != nil {
		j.w.say("%s -> %v", a.method[strings.LastIndex(a.method, "/")+1:], a.err)
		if text := a.err.Error(); strings.Contains(text, "code = Internal") || strings.Contains(text, "code = InvalidArgument") || strings.Contains(text, "code = DataLoss") {
			j.w.broken("%s: %v", a.method, a.err)
		}
		if a.method == withdraw && !strings.Contains(a.err.Error(), "code = Canceled") {
			j.w.broken("a withdrawal failed: %v", a.err)
		}
		return
	}
	switch a.method {
	case ask:
		j.answer(a)
	case report:
		j.told(a)
	case withdraw:
		j.taken(a)
	default:
		j.w.say("%s -> %x", a.method, short[:6])
	}
}

// prompt is how long a withdrawal may take, whatever the disk does: it waits for nothing. Choice.
const prompt = 50 * time.Millisecond

// taken judges the reply to a withdrawal.
func (j *judge) taken(a answered) {
	var q pb.WithdrawRequest
	var r pb.WithdrawResponse
	j.decode(a.raw, &q)
	j.decode(a.reply, &r)
	j.w.say("withdraw %s -> %v", q.GetRig(), r.GetPermitIds())
	if took := j.w.now().Sub(a.at); took > prompt || !r.GetRigKnown() {
		j.w.broken("a withdrawal of %s took %s, known %v", q.GetRig(), took, r.GetRigKnown())
	}
	j.allOver(q.GetRig(), "it was taken back")
}

// told takes in the reply to a report.
func (j *judge) told(a answered) {
	var r pb.ReportResponse
	j.decode(a.reply, &r)
	var says []string
	for _, f := range r.GetFindings() {
		says = append(says, f.GetSentence())
	}
	j.w.say("report -> epoch %d permit %s %s %s %s", r.GetEpoch(), r.GetPermit().GetPermitId(), r.GetPermit().GetState(), r.GetPermit().GetEndedBecause(), strings.Join(says, "; "))
	if rc := r.GetReceipt(); rc != nil {
		j.kept = append(j.kept, receipt{place: placeOf(rc)})
	}
}

func placeOf(r *pb.Receipt) record.Place {
	p := record.Place{Chain: r.GetChain(), Number: r.GetNumber()}
	copy(p.Hash[:], r.GetEntrySha256())
	return p
}

func (j *judge) decode(raw []byte, m proto.Message) {
	if err := proto.Unmarshal(raw, m); err != nil {
		j.w.broken("a reply that cannot be read: %v", err)
	}
}

// canonical is a message's bytes, always the same for the same message.
func canonical(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil
	}
	return b
}

// answer judges the answer to a question.
func (j *judge) answer(a answered) {
	var q pb.AskRequest
	var r pb.AskResponse
	j.decode(a.raw, &q)
	j.decode(a.reply, &r)
	id, body := q.GetRequestId(), canonical(r.GetJudgement())
	was := j.first[id]
	if was == nil {
		was = &asked{id: id, rig: q.GetRig(), raw: a.raw, reply: &r, bytes: body}
		j.first[id] = was
		j.fresh(was, &q, &r)
	} else if !bytes.Equal(was.bytes, body) {
		j.w.broken("question %s was answered differently: %s, then %s", id, was.reply.GetJudgement(), r.GetJudgement())
	}
	j.permit(was, &r)
	short := sha256.Sum256(body)
	j.w.say("ask %s -> %s %s [%x] permit %s %s: %s", id, kindOf(q.GetAction()), r.GetJudgement().GetVerdict(), short[:6],
		r.GetPermit().GetPermitId(), r.GetPermit().GetState(), r.GetJudgement().GetSentence())
}

// open tells whether a permit, or a leave, lets anything happen.
func open(r *pb.AskResponse) bool {
	s := r.GetPermit().GetState()
	return s == pb.PermitState_PERMIT_STATE_BEGUN || s == pb.PermitState_PERMIT_STATE_GRANTED || r.GetSyncLeave().GetLive()
}

// permit holds the leave of an answer, first or repeated, against what was seen of it before.
func (j *judge) permit(was *asked, r *pb.AskResponse) {
	if was.over && open(r) {
		j.w.broken("leave %s%s of question %s is open again after it was over", r.GetPermit().GetPermitId(), r.GetSyncLeave().GetLeaveId(), was.id)
	}
	was.over = was.over || !open(r)
	if got, want := r.GetPermit().GetPermitId(), was.reply.GetPermit().GetPermitId(); got != want {
		j.w.broken("question %s got permit %q, then %q", was.id, want, got)
	}
}

// fresh judges the first answer to a question.
func (j *judge) fresh(was *asked, q *pb.AskRequest, r *pb.AskResponse) {
	j.verdict(was, r)
	out := proto.Clone(r).(*pb.AskResponse)
	out.Receipt = nil
	j.kept = append(j.kept, receipt{place: placeOf(r.GetReceipt()), id: was.id, reply: canonical(out)})
	if r.GetJudgement().GetVerdict() != pb.Verdict_VERDICT_ALLOW {
		return
	}
	if (r.GetPermit() == nil) == (r.GetSyncLeave() == nil) {
		j.w.broken("question %s is allowed with no leave, or with two", was.id)
	}
	if r.GetPermit() == nil || !open(r) {
		return
	}
	for _, other := range j.leaves[was.rig] { // one open permit per rig: none of those before may be open still
		if !other.over {
			j.mustBeOver(other, "permit "+r.GetPermit().GetPermitId()+" was given")
		}
	}
	j.leaves[was.rig] = append(j.leaves[was.rig], was)
	j.ends(was, r.GetPermit())
}

// late is how long after its time leave may still be told as open: the service looks at its own round. Choice, see roundEvery.
const late = 2*roundEvery + 5*time.Second

// ends wants a permit that was not begun in time over, and one whose time is over.
func (j *judge) ends(was *asked, p *pb.Permit) {
	still := func(state pb.PermitState, after *pb.Deadline, because string) {
		j.w.in(after.GetWithinDuration().AsDuration()+late, func() {
			if was.over || j.s.up == nil || j.s.up.d.Down() != nil {
				return
			}
			j.wires.call(context.Background(), ask, was.raw, true, func(raw []byte, err error) {
				var now pb.AskResponse
				if err == nil && proto.Unmarshal(raw, &now) == nil && now.GetPermit().GetState() == state {
					j.w.broken("permit %s is %s although %s", p.GetPermitId(), state, because)
				}
			})
		})
	}
	still(pb.PermitState_PERMIT_STATE_GRANTED, p.GetStartBy(), "it was not begun in time")
	still(pb.PermitState_PERMIT_STATE_BEGUN, p.GetStopBy(), "its time is over")
}

// verdict is the gravest finding, of exactly the loaded rules.
func (j *judge) verdict(was *asked, r *pb.AskResponse) {
	gravest, seen := pb.Verdict_VERDICT_ALLOW, map[string]bool{}
	j.count.Questions++
	for _, f := range r.GetJudgement().GetFindings() {
		seen[f.GetRuleId()] = true
		switch f.GetEffect() {
		case pb.Effect_EFFECT_DENY:
			gravest = pb.Verdict_VERDICT_DENY
		case pb.Effect_EFFECT_PASS, pb.Effect_EFFECT_NOT_APPLICABLE:
			continue
		case pb.Effect_EFFECT_HOLD, pb.Effect_EFFECT_UNSPECIFIED:
			if gravest != pb.Verdict_VERDICT_DENY {
				gravest = pb.Verdict_VERDICT_HOLD
			}
		}
		j.count.Held[f.GetRuleId()]++
	}
	for _, m := range j.rigs {
		if m.Rig.ID != was.rig {
			continue
		}
		for _, id := range m.Rules.IDs() {
			if !seen[id] {
				j.w.broken("question %s has no finding of rule %s", was.id, id)
			}
		}
	}
	v := r.GetJudgement().GetVerdict()
	if v != gravest {
		j.w.broken("question %s: verdict %s, gravest finding %s", was.id, v, gravest)
	}
	switch v {
	case pb.Verdict_VERDICT_ALLOW:
		j.count.Allows++
	case pb.Verdict_VERDICT_DENY:
		j.count.Denies++
	case pb.Verdict_VERDICT_HOLD, pb.Verdict_VERDICT_UNSPECIFIED:
		j.count.HeldFor = append(j.count.HeldFor, r.GetJudgement().GetSentence())
		j.count.Holds++
	}
}

// mustBeOver asks a question once more, as one does whose reply was lost, and wants its leave over.
func (j *judge) mustBeOver(was *asked, because string) {
	if was.over || j.s.up == nil {
		return
	}
	j.wires.call(context.Background(), ask, was.raw, true, func(_ []byte, err error) {
		if err == nil && !was.over {
			j.w.broken("leave of question %s is still open although %s", was.id, because)
		}
	})
}

// member is a rig with what judges it.
func (j *judge) member(name string) decide.Member {
	for _, m := range j.rigs {
		if m.Rig.ID == name {
			return m
		}
	}
	return decide.Member{}
}

// allOver wants all leave of a rig over; empty: of all rigs.
func (j *judge) allOver(rigName, because string) {
	for _, name := range slices.Sorted(maps.Keys(j.leaves)) {
		if name != rigName && rigName != "" {
			continue
		}
		all := j.leaves[name]
		for _, a := range all[max(0, len(all)-3):] {
			j.mustBeOver(a, because)
		}
	}
}

// witnessed looks for every entry of which a receipt left, in a record that was just opened or is about to be closed, and verifies the
// whole of it. seen is shown every entry of it; nil: nobody wants to see them.
func (j *judge) witnessed(seen func(chain string) record.Folder) {
	ctx := context.Background()
	for _, k := range j.kept {
		if e, err := j.s.up.rec.Get(ctx, k.place.Chain, k.place.Number); err != nil || e.Hash != k.place.Hash {
			j.w.broken("entry %d of chain %s, which was answered, is not on record as it was: %v", k.place.Number, k.place.Chain, err)
		}
	}
	res, err := j.s.up.rec.Verify(ctx, record.VerifyOptions{Fold: seen})
	if err != nil || !res.Whole {
		j.w.broken("the record is not whole: %s %v", res.Sentence, err)
	}
}

// end judges the whole record, entry by entry: what left is what it says, the same bytes give the same findings again, and the fold of it
// is what is held.
func (j *judge) end(fields []*field) {
	byID, folds := map[string]receipt{}, map[string]*reader{}
	for _, k := range j.kept {
		if k.id != "" {
			byID[k.id] = k
		}
	}
	j.witnessed(func(chain string) record.Folder {
		folds[chain] = &reader{judge: j, sent: byID, fold: state.New()}
		return folds[chain]
	})
	for _, f := range fields {
		v, err := j.s.up.d.LookAt(context.Background(), f.rig.ID, j.s.now())
		if err != nil || folds[f.rig.ID] == nil {
			j.w.broken("%s: %v, on record %v", f.rig.ID, err, folds[f.rig.ID] != nil)
			continue
		}
		if held, made := notable(v.State), notable(folds[f.rig.ID].fold.Rig); held != made {
			j.w.broken("%s: held %s, the record makes %s", f.rig.ID, held, made)
		}
	}
}

// reader judges entry after entry of a chain while it folds it: record.Folder.
type reader struct {
	judge *judge
	sent  map[string]receipt
	fold  state.Chain
	n     int
}

// Apply takes one entry.
func (r *reader) Apply(e record.Entry) error {
	b, err := state.Decode(e.Body)
	if err != nil {
		return err
	}
	if b, err = r.fold.Fill(b); err != nil {
		return err
	}
	r.fold = r.fold.Apply(b.Event)
	if e.Kind != state.Asked {
		return nil
	}
	if k, ok := r.sent[e.Request.ID]; ok {
		r.judge.stored(k, e, b)
	}
	r.judge.rejudge(e, b)
	if r.n++; r.n%12 == 0 {
		r.judge.recompute(e, b)
	}
	return nil
}

// State is the state so far.
func (r *reader) State() ([]byte, error) { return r.fold.Encode() }

// stored compares a reply that left with the bytes that its entry has of it. Leave that was taken back before the reply left stands
// in the reply as it was then.
func (j *judge) stored(k receipt, e record.Entry, b state.Body) {
	if e.Hash != k.place.Hash {
		j.w.broken("question %s has its entry elsewhere than its receipt says", k.id)
	}
	var on, sent pb.AskResponse
	j.decode(b.Response.Bytes, &on)
	j.decode(k.reply, &sent)
	if !bytes.Equal(canonical(on.GetJudgement()), canonical(sent.GetJudgement())) || on.GetPermit().GetPermitId() != sent.GetPermit().GetPermitId() {
		j.w.broken("the entry of question %s holds another answer than the one that left", k.id)
	}
}

// rejudge puts stored facts through the rules once more.
func (j *judge) rejudge(e record.Entry, b state.Body) {
	m := j.member(e.Rig)
	effects := func(all []verdict.Finding) map[string]string {
		out := map[string]string{}
		for _, f := range all {
			out[f.Rule] = string(f.Effect) + " " + f.Code
		}
		return out
	}
	then := effects(b.Findings)
	for rule, now := range effects(m.Rules.Judge(context.Background(), decide.Subject(m.Rig, b.Question.Action), b.Facts, b.Question.At)) {
		if then[rule] != now {
			j.w.broken("entry %d of %s: rule %s said %q, now %q", e.Number, e.Rig, rule, then[rule], now)
		}
	}
}

// recompute works the facts of a stored snapshot out once more.
func (j *judge) recompute(e record.Entry, b state.Body) {
	m := j.member(e.Rig)
	out := facts.Compute(facts.Input{Question: *b.Question, Snapshot: *b.Snapshot, Rig: m.Rig, Limits: m.Limits, Moment: moment, Cells: cells, Shelf: m.Shelf})
	now, err := json.Marshal(out.Facts)
	then, err2 := json.Marshal(b.Facts)
	if err != nil || err2 != nil || !bytes.Equal(now, then) {
		j.w.broken("entry %d of %s: its facts come out differently: %s, now %s", e.Number, e.Rig, then, now)
	}
}

// notable is what of a state a restart may not lose. The present permit is not: time alone may have ended it since.
func notable(s question.RigState) string {
	b, err := json.Marshal([]any{s.Homing, s.Proof, s.Limits, s.Solves, s.Syncs, s.Steps, s.Epoch})
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// passes is a judge that lets everything pass: a deliberate fault.
type passes struct{ honest decide.Judge }

// IDs are those of the honest one.
func (p passes) IDs() []string { return p.honest.IDs() }

// Judge says that every rule passes.
func (p passes) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	all := p.honest.Judge(ctx, sub, f, at)
	for i := range all {
		if all[i].Effect != verdict.NotApplicable {
			all[i].Effect = verdict.Passes
		}
	}
	return all
}

// kindOf names an action for the history.
func kindOf(a *pb.Action) string {
	return strings.TrimPrefix(strings.TrimSuffix(strings.SplitN(a.String(), ":", 2)[0], " "), " ")
}

// pose is where the service holds a rig to be now; false: it is down.
func (j *judge) pose(rigName string) (question.Pose, bool) {
	if j.s.up == nil {
		return question.Pose{}, false
	}
	p, err := j.s.up.d.Where(rigName, j.s.now())
	if err != nil {
		j.w.broken("looking at %s: %v", rigName, err)
		return question.Pose{}, false
	}
	return p, true
}

// poseSlack is what a place may be off by beside its uncertainty: what belief is rounded by on its way over the wire. Choice.
const poseSlack = 0.01 * unit.Degree

// heldPose tells whether a pose counts a place among those where the rig may be, within three standard deviations.
func heldPose(p question.Pose, at rig.Axes) bool {
	return p.State == question.Unknown || slices.ContainsFunc(p.Candidates, func(c question.Candidate) bool {
		off, room := c.Axes.Sub(at).Abs(), question.Sigma3(c.Sigma)
		return off.A1 <= room.A1+poseSlack && off.A2 <= room.A2+poseSlack
	})
}

// places gives the places of a pose as text.
func places(p question.Pose) string {
	var out []string
	for _, c := range p.Candidates {
		out = append(out, fmt.Sprintf("%s ± %s", c.Axes, c.Sigma))
	}
	return strings.Join(out, " or ")
}

// pairOf is axis angles as a message.
func pairOf(a rig.Axes) *pb.AxisPair {
	one, two := a.A1.Deg(), a.A2.Deg()
	return &pb.AxisPair{Axis1Deg: &one, Axis2Deg: &two}
}
