package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// rehearse judges one action as of a stated instant, or a plan of several.
func rehearse(k *call) (int, error) {
	a := newActionFlags(k)
	plan := k.flags.String("steps", "", "`FILE` with the steps as JSON; - reads standard input")
	at := k.flags.String("at", "", "`INSTANT` of the start (2026-11-14T21:30:00Z); absent: now")
	now := k.flags.Bool("from-now", false, "start where the rig stands now; absent: at home")
	from := k.flags.String("from-axes", "", "`DEG,DEG` of axis 1 and axis 2 to start at; with --at, how a motion of some night comes out by what is in force now")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) != 2 {
		return 0, wrong("a rig and an action are wanted")
	}
	req, err := k.toRehearse(a, words[1], *plan)
	if err != nil {
		return 0, err
	}
	if *at != "" {
		t, err := time.Parse(time.RFC3339, *at)
		if err != nil {
			return 0, wrong("--at %q is no instant: want one like 2026-11-14T21:30:00Z", *at)
		}
		if req.GetSteps()[0].GetStartTime() != nil {
			return 0, wrong("--at %s: the first step of %s has a startTime of its own; leave one of the two out", *at, *plan)
		}
		req.Steps[0].StartTime = timestamppb.New(t)
	}
	req.Rig, req.Asker = words[0], thisAsker
	if *now {
		req.Start = &pb.RehearseRequest_StartHere{StartHere: true}
	}
	if *from != "" {
		start, err := axesOf(*from)
		if err != nil || *now {
			return 0, wrong("--from-axes %q: want two numbers, like 20,-35.5, and no --from-now beside them", *from)
		}
		req.Start = &pb.RehearseRequest_StartAxes{StartAxes: start}
	}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	reply, err := pb.NewRehearsalServiceClient(conn).Rehearse(ctx, req)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(reply)
	} else {
		k.printOutlook(reply, req.GetSteps())
		fmt.Fprintln(k.out, "      It starts "+begins(req)+".")
	}
	return outlookCode(reply), nil
}

// toRehearse is the one action that the words and flags say, or what stands in a file of several.
func (k *call) toRehearse(a *actionFlags, word, plan string) (*pb.RehearseRequest, error) {
	if word != "plan" {
		action, err := a.action(word)
		return &pb.RehearseRequest{Steps: []*pb.RehearsalStep{{Action: action}}}, err
	}
	told := &pb.RehearseRequest{}
	if err := k.readJSON(plan, told); err != nil {
		return nil, err
	}
	if len(told.GetSteps()) == 0 {
		return nil, wrong("--steps %s: has no steps; keepclear help rehearse plan shows how they are written", plan)
	}
	if more := besideSteps(told); len(more) > 0 {
		return nil, wrong("--steps %s: has %s beside its steps, which are all that is read of it: give the rig as a word, --from-now as a flag, and take the rest out", plan, strings.Join(more, ", "))
	}
	return told, nil
}

// besideSteps names what else a request has than steps, as it is written in JSON, in the order of the fields.
func besideSteps(r *pb.RehearseRequest) []string {
	var out []string
	fields := r.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); f.Name() != "steps" && r.ProtoReflect().Has(f) {
			out = append(out, f.JSONName())
		}
	}
	return out
}

// axesOf reads two axis angles as they are typed.
func axesOf(text string) (*pb.AxisPair, error) {
	first, second, _ := strings.Cut(text, ",")
	a1, err1 := strconv.ParseFloat(strings.TrimSpace(first), 64)
	a2, err2 := strconv.ParseFloat(strings.TrimSpace(second), 64)
	return &pb.AxisPair{Axis1Deg: &a1, Axis2Deg: &a2}, errors.Join(err1, err2)
}

// begins says from where a rehearsal starts: who tries a question by it means where the rig stands, mostly.
func begins(r *pb.RehearseRequest) string {
	switch at := r.GetStart().(type) {
	case *pb.RehearseRequest_StartHere:
		return "where the rig stands now"
	case *pb.RehearseRequest_StartAxes:
		return fmt.Sprintf("at axes (%.2f°, %.2f°)", at.StartAxes.GetAxis1Deg(), at.StartAxes.GetAxis2Deg())
	}
	return "at home (with --from-now: where the rig stands now)"
}

func outlookCode(r *pb.RehearseResponse) int {
	worst := exitDone
	for _, s := range r.GetSteps() {
		switch s.GetOutlook().GetVerdict() {
		case pb.Verdict_VERDICT_ALLOW:
		case pb.Verdict_VERDICT_DENY:
			worst = exitDeny
		case pb.Verdict_VERDICT_HOLD, pb.Verdict_VERDICT_UNSPECIFIED:
			if worst == exitDone {
				worst = exitHold
			}
		}
	}
	return worst
}

func (k *call) printOutlook(r *pb.RehearseResponse, asked []*pb.RehearsalStep) {
	for i, s := range r.GetSteps() {
		var action *pb.Action
		if i < len(asked) { // a reply has as many
			action = asked[i].GetAction()
		}
		if len(asked) > 1 {
			fmt.Fprintf(k.out, "%d. %s\n", i+1, keepclear.Say(action))
		}
		j := s.GetOutlook()
		head := map[pb.Verdict]string{pb.Verdict_VERDICT_ALLOW: "WOULD PASS", pb.Verdict_VERDICT_DENY: "WOULD BE DENIED"}[j.GetVerdict()]
		if head == "" {
			head = "WOULD BE HELD"
		}
		start := s.GetStartTime().AsTime()
		fmt.Fprintf(k.out, "%s  %s to %s: %s\n", head, start.Format(onDay), instant(s.GetEndTime().AsTime(), start), headed(j))
		if start.Before(k.now().Add(-pastStart)) {
			fmt.Fprintln(k.out, "      (that start is past: judged as of then)")
		}
		if i > 0 && r.GetSteps()[i-1].GetOutlook().GetVerdict() != pb.Verdict_VERDICT_ALLOW {
			fmt.Fprintf(k.out, "      (judged from where step %d was to end, which would not pass)\n", i)
		}
		k.printCauses(j, "--json")
		if u := s.GetPassesUntilTime(); u != nil && tracks(action) {
			fmt.Fprintf(k.out, "      Passes until %s.\n", instant(u.AsTime(), start))
		}
		k.printInstead(j, "Would pass instead:")
		k.printNotes(j)
	}
	fmt.Fprintf(k.out, "      Taken for granted: %s.\n", strings.Join(r.GetAssumed(), ", "))
}

// pastStart is how long ago a start must be to be called past: longer than a call takes, and more than two clocks may differ by. Choice.
const pastStart = time.Minute

// tracks tells whether an action follows the sky, so that there is a time until which it passes.
func tracks(a *pb.Action) bool {
	return a.GetTrack() != nil || a.GetSlew().GetTrackDuration().AsDuration()+a.GetJog().GetTrackDuration().AsDuration()+a.GetFlip().GetTrackDuration().AsDuration() > 0
}
