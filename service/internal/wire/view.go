package wire

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rehearse"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Outcome turns what a report did into its response.
func Outcome(o decide.Outcome, r *rig.Rig) *pb.ReportResponse {
	out := &pb.ReportResponse{
		Epoch: o.Epoch, Permit: Permit(o.Permit, r, o.Limits), HomingId: o.HomingID,
		HarmlessUntil: deadline(o.HarmlessUntil, o.Sent), StopTracking: o.StopTracking,
	}
	if o.Receipt != nil {
		out.Receipt = Receipt(*o.Receipt)
		if o.Repeated {
			out.Receipt.TookDuration = nil // of the first time, which nobody measured for this reply
		}
	}
	for _, n := range o.Notices {
		out.Findings = append(out.Findings, notice(n))
	}
	return out
}

// notice is what a sample or event showed, as a finding of no rule.
func notice(n pose.Notice) *pb.Finding {
	return &pb.Finding{RuleId: "seen/" + word(string(n.Kind)), Effect: pb.Effect_EFFECT_HOLD, Code: word(string(n.Kind)), About: n.About, Sentence: n.Sentence}
}

// word makes a stable word of a phrase: "unasked sync" becomes unasked_sync.
func word(phrase string) string {
	b := []byte(phrase)
	for i, c := range b {
		if c == ' ' || c == '-' {
			b[i] = '_'
		}
	}
	return string(b)
}

// Outlook turns the outlook of one rehearsed step into its message.
func Outlook(o rehearse.Outlook, withFacts bool) *pb.RehearsedStep {
	return &pb.RehearsedStep{
		Outlook: judgement(o.Answer, withFacts), StartTime: timestamppb.New(o.Start), EndTime: timestamppb.New(o.End), PassesUntilTime: stampOf(o.PassesUntil),
	}
}

// View turns a rig as it stands into its message. Deadlines count from our receipt, which is later than the sending: a reader who
// counts from that is on the safe side. Each rig is a group of its own in this version, so its chain is its name.
func View(v decide.View, stopTracking bool) *pb.Rig {
	s := v.State
	out := &pb.Rig{
		Rig: v.Rig.ID, Title: v.Rig.Title, RigSha256: v.Rig.Digest[:], Epoch: s.Epoch, Pose: poseOf(v.Pose), LastSample: sample(s.Sample),
		HarmlessUntil: deadline(v.HarmlessUntil, v.At), Lacks: v.Rig.Lacks, Practice: v.Rig.Practice, ReportRefused: len(s.Refused) > 0, Chain: v.Rig.ID,
		StopTracking: stopTracking,
	}
	if s.Permit.Open() {
		out.Permit = Permit(s.Permit, v.Rig, s.Limits)
	}
	for _, l := range v.Locks {
		out.Locks = append(out.Locks, Lock(l))
	}
	for _, n := range v.Needs {
		out.Needs = append(out.Needs, need(n, v.At, v.At))
	}
	for _, name := range slices.Sorted(maps.Keys(s.Pointing)) {
		out.Pointing = append(out.Pointing, pointingModel(name, s.Pointing[name]))
	}
	return out
}

func pointingModel(optics string, m pointing.Model) *pb.PointingModel {
	out := &pb.PointingModel{Optics: optics, SolveCount: int32(min(m.Count, math.MaxInt32)), Settled: m.Settled != nil}
	for t := range pointing.Terms {
		out.Terms = append(out.Terms, &pb.PointingTerm{Title: t.Name(), ValueDeg: new(m.Terms[t].Deg()), SigmaDeg: new(m.Sigma(t).Deg())})
	}
	return out
}

func poseOf(p question.Pose) *pb.Pose {
	out := &pb.Pose{State: poseStates[p.State], Source: sources[p.Source], HomingId: p.HomingID, Because: p.Because}
	if !p.At.IsZero() {
		out.PoseTime = timestamppb.New(p.At)
	}
	for i, c := range p.Candidates {
		if i == 0 {
			out.Axes, out.Sigma = pair(c.Axes), sigmaOf(&c.Sigma)
			continue
		}
		out.Candidates = append(out.Candidates, pair(c.Axes))
	}
	return out
}

// Lock turns a lock into its message. The service itself sets locks for two causes in this version: one rig's for a pose made unknown by
// evidence, one on all for a record that lost entries; rpc refuses its name to persons.
func Lock(l question.Lock) *pb.HeldLock {
	cause := pb.LockCause_LOCK_CAUSE_PERSON
	switch {
	case decide.OfLoss(l):
		cause = pb.LockCause_LOCK_CAUSE_RECORD_LOST
	case l.SetBy == decide.Ourselves:
		cause = pb.LockCause_LOCK_CAUSE_POSE_UNKNOWN
	}
	return &pb.HeldLock{LockId: l.ID, Rig: l.Rig, SetBy: l.SetBy, Reason: l.Reason, SetTime: timestamppb.New(l.Set), Cause: cause}
}

// Filter turns a filter into that of the record.
func Filter(f *pb.EntryFilter) record.Filter {
	out := record.Filter{Rigs: f.GetRigs(), RuleIDs: f.GetRuleIds()}
	for _, k := range f.GetKinds() {
		for w, n := range entryKinds {
			if n == k {
				out.Kinds = append(out.Kinds, w)
			}
		}
	}
	slices.Sort(out.Kinds)
	for _, v := range f.GetVerdicts() {
		out.Verdicts = append(out.Verdicts, string(wordOf(verdicts, v)))
	}
	if t := f.GetFromTime(); t != nil {
		out.From = t.AsTime()
	}
	if t := f.GetBeforeTime(); t != nil {
		out.Before = t.AsTime()
	}
	return out
}

// nameOr is who asked, as people read it.
func nameOr(asker string) string { return cmp.Or(asker, "unnamed") }

// Entry turns an entry into its message; whole, with facts and stored bytes, or its head alone.
func Entry(e record.Entry, whole bool) (*pb.Entry, error) {
	out := &pb.Entry{
		Receipt:        &pb.Receipt{Chain: e.Chain, Number: e.Number, EntrySha256: e.Hash[:], RecordTime: timestamppb.New(e.Time)},
		PreviousSha256: e.Previous[:], Kind: entryKinds[e.Kind], Rig: e.Rig, Asker: nameOr(e.Asker), Sentence: e.Sentence,
		Verdict: verdicts[verdict.Verdict(e.Verdict)],
	}
	if out.Kind == pb.EntryKind_ENTRY_KIND_SERVICE {
		out.Asker = e.Asker // nobody told it: there is no asker without a name
	}
	if !whole {
		return out, nil
	}
	out.Stored = e.Stored
	if e.State {
		return out, nil
	}
	b, err := state.Decode(e.Body)
	if err != nil {
		return nil, fmt.Errorf("entry %d of chain %q: %w", e.Number, e.Chain, err)
	}
	out.Facts = Facts(b.Facts)
	for _, name := range sortedKeys(b.Revs) {
		digest, err := hex.DecodeString(b.Revs[name])
		if err == nil {
			out.Revisions = append(out.Revisions, &pb.Revision{Of: name, Sha256: digest})
		}
	}
	putContent(out, b)
	return out, nil
}

func sortedKeys(m map[string]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// putContent decodes what was exchanged. What this version cannot read is left out: the sentence serves.
func putContent(out *pb.Entry, b state.Body) {
	into := func(x state.Exchanged, m proto.Message) bool {
		return x.Type == string(m.ProtoReflect().Descriptor().FullName()) && proto.Unmarshal(x.Bytes, m) == nil
	}
	ask, answer := &pb.AskRequest{}, &pb.AskResponse{}
	report, withdraw, lock, release := &pb.ReportRequest{}, &pb.WithdrawRequest{}, &pb.LockRequest{}, &pb.ReleaseRequest{}
	rehearsal, outlook := &pb.RehearseRequest{}, &pb.RehearseResponse{}
	switch {
	case into(b.Request, ask):
		asked := &pb.Asked{Request: ask}
		if into(b.Response, answer) {
			asked.Response = answer
		}
		out.Content = &pb.Entry_Asked{Asked: asked}
	case into(b.Request, report):
		out.Content = &pb.Entry_Report{Report: report}
	case into(b.Request, withdraw):
		out.Content = &pb.Entry_Withdraw{Withdraw: withdraw}
	case into(b.Request, lock):
		out.Content = &pb.Entry_Lock{Lock: lock}
	case into(b.Request, release):
		out.Content = &pb.Entry_Release{Release: release}
	case into(b.Request, rehearsal):
		r := &pb.Rehearsed{Request: rehearsal}
		if into(b.Response, outlook) {
			r.Response = outlook
		}
		out.Content = &pb.Entry_Rehearsed{Rehearsed: r}
	}
}

// VerifyResult turns what a verification found into its message.
func VerifyResult(r record.Result) *pb.VerifyResult {
	out := &pb.VerifyResult{Whole: r.Whole, EntryCount: r.Count, Sentence: r.Sentence}
	for _, h := range r.Heads {
		out.Heads = append(out.Heads, &pb.Receipt{Chain: h.Chain, Number: h.Number, EntrySha256: h.Hash[:]})
	}
	if r.FirstWrong != nil {
		out.FirstWrong = &pb.EntryPlace{Chain: r.FirstWrong.Chain, Number: r.FirstWrong.Number}
	}
	return out
}
