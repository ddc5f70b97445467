package main

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// This file keeps the answers of an evening, so that it can be taken up again. Each is kept with what was asked: an answer to another question is
// no answer.

// largestKept bounds the file of answers, bytes: those of a plan take some thousand.
const largestKept = 1 << 20

// freshAnswer is how old an answer may be to count: a proof is dated when it is reported. Choice: what was measured yesterday evening is of the same
// rig, as whoever measured it can still tell.
const freshAnswer = 24 * time.Hour

// kept is the answers so far.
type kept struct {
	file string
	now  func() time.Time
	held answers
}

// answers are what stands in the file.
type answers struct {
	Rig    string     `json:"rig"`
	Digest string     `json:"rig_sha256"`
	At     time.Time  `json:"last_answer"`
	Signs  []signKept `json:"signs,omitempty"`
	Poses  []poseKept `json:"poses,omitempty"`
}

type signKept struct {
	Asked  []byte    `json:"asked"`  // a SignStep
	Answer []byte    `json:"answer"` // a SignAnswer
	At     time.Time `json:"at"`
}

type poseKept struct {
	Asked   []byte    `json:"asked"`   // a GaugePose
	Answers [][]byte  `json:"answers"` // a GaugeReading for each of its gaps
	At      time.Time `json:"at"`
}

// takeUp reads the answers of an earlier evening, and asks whether the rig is still the same. Whatever makes them doubtful, all are asked anew.
func (p *proof) takeUp() error {
	found, why := p.read()
	p.kept.held = answers{Rig: p.rig, Digest: hex.EncodeToString(p.plan.GetRigSha256())}
	switch {
	case why != "":
		p.say("Earlier answers are there, but %s: all is asked anew.", why)
		return nil
	case found == nil:
		return nil
	}
	if old := p.kept.dropOld(found); old > 0 {
		p.say("Of the earlier answers %d are older than a day: they are asked anew.", old)
	}
	if len(found.Signs)+len(found.Poses) == 0 {
		return nil
	}
	same, err := p.yes(fmt.Sprintf("Answers from %s are kept: %d of directions, %d poses measured. Is the rig as it was then, nothing moved, changed or shifted on it (yes, no)?", instant(found.At, p.now()), len(found.Signs), len(found.Poses)))
	if err != nil {
		return err
	}
	if !same {
		p.say("Then all is asked anew.")
		return nil
	}
	p.kept.held = *found
	return nil
}

// read reads the file; nil where there is none, and why what is there does not count.
func (p *proof) read() (found *answers, why string) {
	info, err := os.Stat(p.kept.file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, ""
	case err != nil || !info.Mode().IsRegular() || info.Size() > largestKept:
		return nil, "the file is none that this command wrote"
	}
	content, err := os.ReadFile(p.kept.file)
	if err != nil {
		return nil, "the file cannot be read"
	}
	d := json.NewDecoder(bytes.NewReader(content))
	d.DisallowUnknownFields()
	found = &answers{}
	switch err := d.Decode(found); {
	case err != nil || d.More():
		return nil, "the file is damaged"
	case found.Rig != p.rig:
		return nil, "they are of another rig"
	case found.Digest != hex.EncodeToString(p.plan.GetRigSha256()):
		return nil, "the rig file was changed since"
	case found.At.After(p.now().Add(time.Minute)):
		return nil, "they are of a time that has not come yet"
	}
	return found, ""
}

// dropOld takes the answers away that no longer count, and tells how many: those of more than a day ago, or of a time that is not known.
func (k *kept) dropOld(a *answers) int {
	all := len(a.Signs) + len(a.Poses)
	old := func(at time.Time) bool {
		age := k.wall().Sub(at)
		return age > freshAnswer || age < -time.Minute
	}
	a.Signs = slices.DeleteFunc(a.Signs, func(x signKept) bool { return old(x.At) })
	a.Poses = slices.DeleteFunc(a.Poses, func(x poseKept) bool { return old(x.At) })
	return all - len(a.Signs) - len(a.Poses)
}

// wall is now by the clock on the wall, which goes on while a computer sleeps.
func (k *kept) wall() time.Time { return k.now().UTC().Round(0) }

// write puts the file in place whole.
func (k *kept) write() error {
	content, err := json.MarshalIndent(k.held, "", " ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(k.file), 0o700); err != nil {
		return fmt.Errorf("keeping the answers: %w; name another file with --answers", err)
	}
	aside := k.file + ".new"
	if err := os.WriteFile(aside, content, 0o600); err != nil {
		return fmt.Errorf("keeping the answers: %w; name another file with --answers", err)
	}
	if err := os.Rename(aside, k.file); err != nil {
		return fmt.Errorf("keeping the answers: %w; name another file with --answers", err)
	}
	return nil
}

// gone takes the file away: what it held is on record.
func (k *kept) gone() { _ = os.Remove(k.file) } // one that stays is of answers that the person is asked about

// sign is the answer to a step; nil where there is none.
func (k *kept) sign(s *pb.SignStep) *pb.SignAnswer {
	for _, x := range k.held.Signs {
		a := &pb.SignAnswer{}
		if answersTo(x.Asked, s, &pb.SignStep{}) && proto.Unmarshal(x.Answer, a) == nil && a.GetAxis() == s.GetAxis() {
			return a
		}
	}
	return nil
}

// answersTo tells whether a question is the one that an answer was given to.
func answersTo(was []byte, now, into proto.Message) bool {
	return proto.Unmarshal(was, into) == nil && proto.Equal(into, now)
}

func (k *kept) putSign(s *pb.SignStep, a *pb.SignAnswer) error {
	k.held.Signs = append(k.held.Signs, signKept{packed(s), packed(a), k.wall()})
	return k.put()
}

// readings are the measured gaps of a pose: all of its gaps, or none.
func (k *kept) readings(g *pb.GaugePose) []*pb.GaugeReading {
	for _, x := range k.held.Poses {
		if !answersTo(x.Asked, g, &pb.GaugePose{}) || len(x.Answers) != len(g.GetGaps()) {
			continue
		}
		var out []*pb.GaugeReading
		for i, b := range x.Answers {
			r := &pb.GaugeReading{}
			gap := g.GetGaps()[i].GetParts()
			if proto.Unmarshal(b, r) != nil || r.GapMm == nil || r.GetPart() != gap[0] || r.GetOtherPart() != gap[1] || apart(r.GetAxes(), g.GetAxes()) > nearEnough {
				return nil
			}
			out = append(out, r)
		}
		return out
	}
	return nil
}

func (k *kept) putReadings(g *pb.GaugePose, all []*pb.GaugeReading) error {
	one := poseKept{Asked: packed(g), At: k.wall()}
	for _, r := range all {
		one.Answers = append(one.Answers, packed(r))
	}
	k.held.Poses = append(k.held.Poses, one)
	return k.put()
}

// putReading puts one reading of a pose in another's place. The pose keeps its date: the other readings are as old as they were.
func (k *kept) putReading(g *pb.GaugePose, n int, r *pb.GaugeReading) error {
	for i := range k.held.Poses {
		if x := &k.held.Poses[i]; answersTo(x.Asked, g, &pb.GaugePose{}) && n < len(x.Answers) {
			x.Answers[n] = packed(r)
		}
	}
	return k.put()
}

func packed(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil // an answer that was not kept is asked again
	}
	return b
}

// put dates the answers and writes them.
func (k *kept) put() error {
	k.held.At = k.wall()
	return k.write()
}

// all is every answer to a plan.
func (k *kept) all(plan *pb.PlanGaugesResponse) *pb.JudgeGaugesRequest {
	out := &pb.JudgeGaugesRequest{}
	for _, s := range plan.GetSignSteps() {
		if a := k.sign(s); a != nil {
			out.Signs = append(out.Signs, a)
		}
	}
	for _, g := range plan.GetGaugePoses() {
		out.Readings = append(out.Readings, k.readings(g)...)
	}
	return out
}
