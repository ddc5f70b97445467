package main

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// ask asks one question and prints the answer.
func ask(k *call) (int, error) {
	a := newActionFlags(k).withSolve()
	sample := k.flags.String("sample", "", "`FILE` with a sample as JSON; - reads standard input; absent: the last one reported counts")
	id := k.flags.String("request-id", "", "`ID` of 16-64 characters; absent: made")
	attended := k.flags.String("attended-by", "", "`PERSON` who can reach the power switch")
	replaces := k.flags.String("replaces", "", "`ID` of the open permit that an allow shall replace")
	practice := k.flags.Bool("practice", false, "take a permit of a practice rig for an allow: no real mount may move on it")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) != 2 {
		return 0, wrong("a rig and an action are wanted")
	}
	action, err := a.action(words[1])
	if err != nil {
		return 0, err
	}
	req := &pb.AskRequest{
		RequestId: *id, Rig: words[0], Action: action, SentTime: timestamppb.New(k.now()), Asker: thisAsker,
		AttendedBy: *attended, ReplacesPermitId: *replaces,
	}
	if req.RequestId == "" {
		req.RequestId = requestID()
	}
	if *sample != "" {
		req.Sample = &pb.Sample{}
		if err := k.readJSON(*sample, req.Sample); err != nil {
			return 0, err
		}
	}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	sent := k.now()
	reply, err := pb.NewMotionServiceClient(conn).Ask(ctx, req)
	if err != nil {
		return 0, err
	}
	fault := ""
	if reply.GetJudgement().GetVerdict() == pb.Verdict_VERDICT_ALLOW {
		fault = wrongWith(req, reply, *practice, keepclear.Passed(sent, k.now()))
	}
	code := code(reply, fault)
	if *k.json {
		k.printJSON(reply)
		if fault != "" {
			fmt.Fprintf(k.err, "HOLD  the service allowed it, but %s\n", fault)
		}
		return code, nil
	}
	k.printAnswer(reply, code, fault)
	return code, nil
}

// elsewhere is how far from where it is meant to go another end lies that is worth a line, degrees. Choice: what a person looking at marks is off by.
const elsewhere = 3.0

// printElsewhere says where the mount might go instead, and why: what is refused for that end reads like a mistake to who asked for another.
func (k *call) printElsewhere(j *pb.Judgement) {
	var meant *pb.AxisPair
	for _, e := range j.GetEnds() {
		if e.GetIntended() {
			meant = e.GetAxes()
		}
	}
	var worst *pb.PredictedEnd
	for _, e := range j.GetEnds() {
		if meant != nil && e.GetAxes() != nil && apart(e.GetAxes(), meant) > elsewhere && (worst == nil || apart(e.GetAxes(), meant) > apart(worst.GetAxes(), meant)) {
			worst = e
		}
	}
	if worst == nil {
		return
	}
	why := ""
	if b := strings.TrimSuffix(worst.GetBecause(), "."); b != "" {
		why = ", " + b
	}
	fmt.Fprintf(k.out, "      It is meant to end at %s; it might end at %s%s.\n", axes(meant), axes(worst.GetAxes()), why)
}

// printInstead says what would pass, in order.
func (k *call) printInstead(j *pb.Judgement, first string) {
	for i, x := range j.GetAskInstead() {
		fmt.Fprintf(k.out, "      %-*s %s\n", len(first), map[bool]string{true: first, false: "and then ask:"}[i == 0], keepclear.Say(x))
		k.printStop(j, uint32(i))
	}
}

func (k *call) printNotes(j *pb.Judgement) {
	for _, n := range j.GetNotes() {
		fmt.Fprintf(k.out, "      (%s)\n", n)
	}
}

// printStop says where the mount believes a stop to be.
func (k *call) printStop(j *pb.Judgement, step uint32) {
	for _, s := range j.GetStops() {
		if s.GetStep() == step {
			p, side := s.GetMountSky(), ""
			if s.GetSide() != pb.TubeSide_TUBE_SIDE_UNSPECIFIED {
				side = ", tube " + word(s.GetSide().String(), "TUBE_SIDE_")
			}
			fmt.Fprintf(k.out, "        (for the mount that is %.3f°, %+.3f° of date%s, at %s)\n", p.GetRaDeg(), p.GetDecDeg(), side, instant(s.GetValidTime().AsTime(), k.now()))
		}
	}
}

// printAnswer prints an answer for a person: verdict and why, what to do, what would pass, what was given.
func (k *call) printAnswer(r *pb.AskResponse, code int, fault string) {
	j := r.GetJudgement()
	head := map[int]string{exitDone: "ALLOW", exitDeny: "DENY", exitHold: "HOLD"}[code]
	why := headed(j)
	if fault != "" {
		why = "The service allowed it, but " + strings.TrimSuffix(fault, ".") + "."
	}
	fmt.Fprintf(k.out, "%-5s %s\n", head, why)
	k.printCauses(j, fmt.Sprintf("keepclear entries show %s/%d", r.GetReceipt().GetChain(), r.GetReceipt().GetNumber()))
	if code != exitDone {
		k.printElsewhere(j)
	}
	k.printInstead(j, "Would pass now:")
	if j.GetStopTracking() {
		fmt.Fprintln(k.out, "      STOP TRACKING NOW: carrying on does not stay clear for long.")
	} else if h := j.GetHarmlessUntil(); h != nil && code != exitDone {
		fmt.Fprintf(k.out, "      Carrying on as it is does no harm %s.\n", until(h, k.now()))
	}
	if p := r.GetPermit(); p != nil {
		fmt.Fprintf(k.out, "      Permit %s, %s: start within %s, be done by %s.\n", p.GetPermitId(), word(p.GetState().String(), "PERMIT_STATE_"), short(p.GetStartBy().GetWithinDuration().AsDuration()), instant(p.GetStopBy().GetAtTime().AsTime(), k.now()))
		k.critical(p.GetCritical())
		if fault != "" {
			fmt.Fprintf(k.out, "      Do not move on it. It holds up the next question until it is over, or taken back: keepclear withdraw %s\n", p.GetRig())
		}
	}
	if l := r.GetSyncLeave(); l != nil {
		fmt.Fprintf(k.out, "      Sync leave %s: tell the mount within %s.\n", l.GetLeaveId(), short(l.GetUseBy().GetWithinDuration().AsDuration()))
		k.critical(l.GetCritical())
	}
	if c := j.GetClosest(); c != nil && len(c.GetParts()) == 2 {
		gap := fmt.Sprintf("at least %.0f mm", c.GetLowerMm())
		switch {
		case c.UpperMm != nil && c.GetUpperMm() <= 0:
			gap = "which touch"
		case c.GetLowerMm() < 0.5:
			gap = "which may touch"
		}
		fmt.Fprintf(k.out, "      Closest: %s and %s, %s, at (%.1f°, %.1f°); %.0f mm wanted.\n", c.GetParts()[0], c.GetParts()[1], gap, c.GetAxes().GetAxis1Deg(), c.GetAxes().GetAxis2Deg(), c.GetRequiredMm())
	}
	k.printNotes(j)
	rc := r.GetReceipt()
	fmt.Fprintf(k.out, "      Entry %s/%d  %x\n", rc.GetChain(), rc.GetNumber(), rc.GetEntrySha256())
}

func (k *call) critical(words []string) {
	if len(words) > 0 {
		fmt.Fprintf(k.out, "      Condition: %s (a practice permit moves no real mount).\n", strings.Join(words, ", "))
	}
}

// word makes words of an enum's name: NEED_KIND_RIG_PROOF becomes "rig proof".
func word(name, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", " ")
}

func short(d time.Duration) string { return d.Round(100 * time.Millisecond).String() }

// dayAhead is what counts as the whole day that the service looks ahead: less what two clocks may differ by. Choice.
const dayAhead = 24*time.Hour - time.Minute

// until says how long something stays clear: a whole day later the time of day is that of the question, and would read as at once.
func until(d *pb.Deadline, now time.Time) string {
	if d.GetWithinDuration().AsDuration() >= dayAhead {
		return "for all of the 24 h that are looked at"
	}
	return "until " + instant(d.GetAtTime().AsTime(), now)
}

// requestID makes a new id: 128 random bits.
func requestID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	return fmt.Sprintf("%x", b)
}

// onDay is how an instant is written with its day.
const onDay = "2006-01-02 15:04:05 UTC"

// inDay is how one is written beside another of the same day.
const inDay = "15:04:05 UTC"

// instant writes a time of day, with its day where that is another than a time's that stands beside it.
func instant(t, beside time.Time) string {
	t, beside = t.UTC(), beside.UTC()
	if t.Format(time.DateOnly) != beside.Format(time.DateOnly) {
		return t.Format(onDay)
	}
	return t.Format(inDay)
}
