package main

import (
	"context"
	"crypto/sha256"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
	"keepclear.example/keepclear/service/internal/wire"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// BenchmarkSlewByStages times one whole slew question on the practice rig, stage by stage, in µs: decode and validate, facts, rules,
// encode (answer and entry), and the record's append and flush on the disk of the temporary folder. Clear: a way 100 mm from anything;
// near: one that passes a leg by some millimetres more than it must.
func BenchmarkSlewByStages(b *testing.B) {
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	if err != nil {
		b.Fatal(err)
	}
	members, err := newMembers(files, facility)
	if err == nil {
		err = proveRules(b.Context(), members, nil)
	}
	if err != nil {
		b.Fatal(err)
	}
	for name, to := range map[string]rig.Axes{"clear": rig.DegAxes(-30, 60), "near contact": rig.DegAxes(66.5, -28.55)} {
		b.Run(name, func(b *testing.B) { slewByStages(b, members[0], to) })
	}
}

func slewByStages(b *testing.B, m decide.Member, to rig.Axes) {
	checker, err := wire.NewChecker()
	if err != nil {
		b.Fatal(err)
	}
	rec, err := record.Open(filepath.Join(b.TempDir(), "record"), record.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer rec.Close()
	mount := practice.NewMount(m.Rig, newMoment(), dusk)
	sample, err := mount.Sample(dusk)
	if err != nil {
		b.Fatal(err)
	}
	home := question.Candidate{Axes: m.Rig.Home, Sigma: rig.DegAxes(0.02, 0.02)}
	held := question.RigState{Pose: question.Pose{State: question.Known, Candidates: []question.Candidate{home}, At: dusk}, Sample: &sample, Still: &sample}
	raw, err := proto.Marshal(&pb.AskRequest{
		RequestId: "benchmark-request-0001", Rig: "heron", SentTime: timestamppb.New(dusk), AttendedBy: "R. Alder", Asker: "benchmark", Sample: wire.SampleOf(&sample),
		Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: keepclear.Axes(to.A1.Deg(), to.A2.Deg())}, TrackDuration: durationpb.New(0)}}},
	})
	if err != nil {
		b.Fatal(err)
	}
	var decode, compute, judge, encode, keep time.Duration
	var mark time.Time
	lap := func(into *time.Duration) { now := time.Now(); *into += now.Sub(mark); mark = now }
	for b.Loop() {
		mark = time.Now()
		msg := &pb.AskRequest{}
		if faults := checker.Decode(raw, msg); len(faults) > 0 {
			b.Fatal(faults)
		}
		q := wire.Question(msg, dusk, func(string, rig.Axes) bool { return false })
		lap(&decode)
		snap := question.Snapshot{Rig: held, Clock: question.Clock{KernelSynced: true}, At: dusk}
		out := facts.Compute(facts.Input{Question: q, Snapshot: snap, Rig: m.Rig, Limits: m.Limits, Moment: newMoment(), Cells: int(reach.DefaultBudget), Shelf: m.Shelf})
		lap(&compute)
		findings := m.Rules.Judge(context.Background(), decide.Subject(m.Rig, q.Action), out.Facts, dusk)
		lap(&judge)
		a := decide.Answer{Verdict: verdict.Allow, Findings: findings, Ends: out.Ends, Closest: out.Closest, Facts: out.Facts, At: dusk, Sent: dusk}
		reply, err := proto.Marshal(wire.Answer(a, m.Rig, false))
		if err != nil {
			b.Fatal(err)
		}
		body, err := state.New().Write(nil, state.Body{Event: state.Event{After: &held}, Question: &q, Snapshot: &snap, Facts: out.Facts, Findings: findings, Request: state.Exchanged{Bytes: raw}, Response: state.Exchanged{Bytes: reply}})
		if err != nil {
			b.Fatal(err)
		}
		lap(&encode)
		w, err := rec.Append(record.Draft{Chain: "heron", Time: dusk, Body: body, Index: record.Index{Kind: state.Asked, Rig: "heron", Request: record.Request{ID: newID(), Digest: sha256.Sum256(raw)}, Sentence: "Benchmark."}}, rec.Head("heron"))
		if err == nil {
			err = w.Wait()
		}
		if err != nil {
			b.Fatal(err)
		}
		lap(&keep)
	}
	for name, d := range map[string]time.Duration{"decode": decode, "facts": compute, "rules": judge, "encode": encode, "record": keep} {
		b.ReportMetric(float64(d.Microseconds())/float64(b.N), name+"-µs")
	}
}
