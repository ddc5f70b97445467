package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// rigs prints how rigs stand.
func rigs(k *call) (int, error) {
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) > 1 {
		return 0, wrong("one rig, or none for all")
	}
	conn, err := k.dial()
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	c := pb.NewRigServiceClient(conn)
	if len(words) == 1 {
		r, err := c.GetRig(ctx, &pb.GetRigRequest{Rig: words[0]})
		if err != nil {
			return 0, err
		}
		if *k.json {
			k.printJSON(r)
		} else {
			k.printRig(r.GetRig())
			k.printPointing(r.GetRig())
		}
		return exitDone, nil
	}
	return k.allRigs(c)
}

func (k *call) allRigs(c pb.RigServiceClient) (int, error) {
	token := ""
	for {
		ctx, cancel := k.timed()
		r, err := c.ListRigs(ctx, &pb.ListRigsRequest{PageToken: token})
		cancel()
		if err != nil {
			return 0, err
		}
		if *k.json {
			k.printJSON(r)
		} else {
			for _, one := range r.GetRigs() {
				k.printRig(one)
			}
		}
		if token = r.GetNextPageToken(); token == "" {
			return exitDone, nil
		}
	}
}

// anywhereDeg is within how many degrees of where it was seen a pose that nobody saw move since is not called known: a person would read that as a
// place. Choice: far above what any rule lets pass, pose/sharp holds at a few.
const anywhereDeg = 30

func (k *call) printRig(r *pb.Rig) {
	p := r.GetPose()
	where := fmt.Sprintf("at (%.2f°, %.2f°) ± (%.2f°, %.2f°)", p.GetAxes().GetAxis1Deg(), p.GetAxes().GetAxis2Deg(), 3*p.GetSigma().GetAxis1Deg(), 3*p.GetSigma().GetAxis2Deg())
	if p.GetAxes() == nil {
		where = "nowhere known"
	}
	state := word(p.GetState().String(), "POSE_STATE_")
	if s := p.GetSigma(); p.GetState() == pb.PoseState_POSE_STATE_KNOWN && 3*max(s.GetAxis1Deg(), s.GetAxis2Deg()) >= anywhereDeg {
		state = "no longer known after what nobody saw"
	}
	k.printRepairs(r.GetNeeds())
	fmt.Fprintf(k.out, "%s  %s\n      pose %s, %s", r.GetRig(), r.GetTitle(), state, where)
	if t := p.GetPoseTime(); t != nil {
		fmt.Fprintf(k.out, ", seen %s", instant(t.AsTime(), k.now()))
	}
	fmt.Fprintln(k.out)
	if p.GetBecause() != "" {
		fmt.Fprintf(k.out, "      %s\n", p.GetBecause())
	}
	for _, c := range p.GetCandidates() {
		fmt.Fprintf(k.out, "      or at (%.2f°, %.2f°)\n", c.GetAxis1Deg(), c.GetAxis2Deg())
	}
	if q := r.GetPermit(); q != nil {
		fmt.Fprintf(k.out, "      open permit %s: %s, until %s\n", q.GetPermitId(), keepclear.Say(q.GetAction()), instant(q.GetStopBy().GetAtTime().AsTime(), k.now()))
	}
	for _, l := range r.GetLocks() {
		k.printLock(l)
	}
	if r.GetReportRefused() {
		fmt.Fprintln(k.out, "      a report was not understood, or could not be recorded: it holds the rig until the same asker's next one is taken in")
	}
	k.printNeeds(standing(r))
	if r.GetStopTracking() {
		fmt.Fprintln(k.out, "      STOP TRACKING NOW: carrying on does not stay clear for long.")
	}
	for _, f := range r.GetChangedFiles() {
		fmt.Fprintf(k.out, "      changed on disk: %s\n", f)
	}
	if r.GetPractice() {
		fmt.Fprintln(k.out, "      a practice rig: its permits move no real mount")
	}
	fmt.Fprintf(k.out, "      digest %x\n", r.GetRigSha256())
}

// printPointing prints what solves taught of the mount's errors, in minutes of arc, with three standard deviations.
func (k *call) printPointing(r *pb.Rig) {
	for _, m := range r.GetPointing() {
		sure := "not settled yet"
		if m.GetSettled() {
			sure = "settled"
		}
		fmt.Fprintf(k.out, "      pointing through %q, from %d solves, %s:\n", m.GetOptics(), m.GetSolveCount(), sure)
		for _, t := range m.GetTerms() {
			fmt.Fprintf(k.out, "        %-28s %7.1f′ ± %.1f′\n", t.GetTitle(), 60*t.GetValueDeg(), 3*60*t.GetSigmaDeg())
		}
	}
}

// printRepairs prints what the service itself needs, once for all rigs: nothing else helps before.
func (k *call) printRepairs(needs []*pb.Need) {
	for _, n := range needs {
		if n.GetKind() == pb.NeedKind_NEED_KIND_REPAIR && !slices.Contains(k.repairs, n.GetSentence()) {
			k.repairs = append(k.repairs, n.GetSentence())
			fmt.Fprintf(k.out, "REPAIR  %s\n", n.GetSentence())
		}
	}
}

// standing is what a rig needs, less homing by itself where that is held until a person stated where the axes are: the one would contradict the other.
func standing(r *pb.Rig) []*pb.Need {
	kind := func(k pb.NeedKind) func(*pb.Need) bool { return func(n *pb.Need) bool { return n.GetKind() == k } }
	if r.GetPose().GetState() != pb.PoseState_POSE_STATE_UNKNOWN || !slices.ContainsFunc(r.GetNeeds(), kind(pb.NeedKind_NEED_KIND_ATTENDANCE)) {
		return r.GetNeeds()
	}
	return slices.DeleteFunc(slices.Clone(r.GetNeeds()), kind(pb.NeedKind_NEED_KIND_HOMING))
}

// printNeeds prints each thing that helps in a line, with all the needs that it serves.
func (k *call) printNeeds(needs []*pb.Need) {
	var lines []string
	served := map[string][]string{}
	for _, n := range needs {
		if n.GetKind() == pb.NeedKind_NEED_KIND_REPAIR {
			continue // printRepairs had them
		}
		what, help := word(n.GetKind().String(), "NEED_KIND_"), n.GetSentence()
		if served[help] == nil {
			lines = append(lines, help)
		}
		if !slices.Contains(served[help], what) {
			served[help] = append(served[help], what)
		}
	}
	for _, help := range lines {
		fmt.Fprintf(k.out, "      needs %s: %s\n", strings.Join(served[help], " or "), help)
	}
}

func (k *call) printLock(l *pb.HeldLock) {
	scope := l.GetRig()
	if scope == "" {
		scope = "all rigs"
	}
	fmt.Fprintf(k.out, "      lock %s on %s since %s by %s: %s\n", l.GetLockId(), scope, l.GetSetTime().AsTime().Format("2006-01-02 15:04 UTC"), l.GetSetBy(), l.GetReason())
}

// lock locks a rig, or all.
func lock(k *call) (int, error) {
	all := k.flags.Bool("all", false, "every rig")
	person := k.flags.String("person", "", "`NAME` of who does it")
	reason := k.flags.String("reason", "", "`TEXT` why, for people")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if *all == (len(words) == 1) || len(words) > 1 || *person == "" || *reason == "" {
		return 0, wrong("one rig or --all, a person and a reason are wanted")
	}
	req := &pb.LockRequest{RequestId: requestID(), Person: *person, Reason: *reason}
	if *all {
		req.Scope = &pb.LockRequest_AllRigs{AllRigs: true}
	} else {
		req.Scope = &pb.LockRequest_Rig{Rig: words[0]}
	}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	r, err := pb.NewLockServiceClient(conn).Lock(ctx, req)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	fmt.Fprintln(k.out, "LOCKED. A motion under way is not stopped by this: stop the mount yourself.")
	k.printLock(r.GetLock())
	for _, id := range r.GetWithdrawnPermitIds() {
		fmt.Fprintf(k.out, "      permit %s was taken back\n", id)
	}
	return exitDone, nil
}

// release releases locks.
func release(k *call) (int, error) {
	person := k.flags.String("person", "", "`NAME` of who does it")
	reason := k.flags.String("reason", "", "`TEXT` why it is safe again")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) == 0 || *person == "" || *reason == "" {
		return 0, wrong("the ids of locks (rigs lists them), a person and a reason are wanted")
	}
	req := &pb.ReleaseRequest{RequestId: requestID(), LockIds: words, Person: *person, Reason: *reason}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	r, err := pb.NewLockServiceClient(conn).Release(ctx, req)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	fmt.Fprintf(k.out, "RELEASED %s.\n", strings.Join(words, ", "))
	for _, l := range r.GetRemaining() {
		fmt.Fprint(k.out, "still held:")
		k.printLock(l)
	}
	return exitDone, nil
}

// withdraw takes leave back.
func withdraw(k *call) (int, error) {
	all := k.flags.Bool("all", false, "every rig")
	reason := k.flags.String("reason", "", "`TEXT` why, for people")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if *all == (len(words) == 1) || len(words) > 1 {
		return 0, wrong("one rig or --all is wanted")
	}
	req := &pb.WithdrawRequest{Asker: thisAsker, Reason: *reason}
	if len(words) == 1 {
		if req.Rig = words[0]; req.Rig == "" { // to the service no name is every rig
			return 0, wrong("the rig's name is empty; --all is every rig")
		}
	}
	conn, err := k.dial()
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	r, err := pb.NewMotionServiceClient(conn).Withdraw(ctx, req)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	if !r.GetRigKnown() {
		fmt.Fprintln(k.out, "NOTHING TAKEN BACK: the service knows no such rig.")
		return exitHold, nil
	}
	switch n := len(r.GetPermitIds()); {
	case n == 0:
		fmt.Fprintln(k.out, "NOTHING TO TAKE BACK: no permit and no sync leave was open.")
	default:
		fmt.Fprintf(k.out, "TAKEN BACK (permits and sync leaves): %d.\n", n)
	}
	if !r.GetControllerTold() {
		fmt.Fprintln(k.out, "      Nobody was told to stop: if the mount moves, stop it yourself, by the emergency stop if need be.")
	}
	return exitDone, nil
}

// rules prints the rules and limits in force.
func rules(k *call) (int, error) {
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	req := &pb.ListRulesRequest{}
	if len(words) > 0 {
		req.Rig = words[0]
	}
	conn, err := k.dial()
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	r, err := pb.NewRuleServiceClient(conn).ListRules(ctx, req)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	for _, one := range r.GetRules() {
		fmt.Fprintf(k.out, "%-16s %s\n", one.GetRuleId(), one.GetTitle())
		for _, l := range one.GetLimits() {
			way := map[bool]string{true: "no more than", false: "no less than"}[l.GetSmallerIsSafer()]
			fmt.Fprintf(k.out, "      %-22s %s %g (%s)\n", l.GetName(), way, l.GetValue(), l.GetOrigin())
		}
	}
	fmt.Fprintf(k.out, "rules %x\n", r.GetRulesSha256())
	return exitDone, nil
}

// verify has the service verify its record.
func verify(k *call) (int, error) {
	req := &pb.VerifyRecordRequest{}
	k.flags.Func("receipt", "`'CHAIN/NUMBER HASH'` of an entry that must be in it, as ask prints them; may be repeated", func(text string) error {
		one, err := receiptOf(text)
		req.Receipts = append(req.Receipts, one)
		return err
	})
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) > 0 {
		req.Chain = words[0]
	}
	conn, err := k.dial()
	if err != nil {
		return 0, err
	}
	stream, err := pb.NewRecordServiceClient(conn).VerifyRecord(k.ctx, req)
	if err != nil {
		return 0, err
	}
	for {
		r, err := stream.Recv()
		if status.Code(err) == codes.NotFound { // a name that is none is wrong usage
			return 0, wrong("%s", status.Convert(err).Message())
		}
		if err != nil {
			return 0, err // also where the stream ends without a result: nothing was verified
		}
		v := r.GetResult()
		if v == nil {
			continue
		}
		if *k.json {
			k.printJSON(r)
		} else {
			fmt.Fprintf(k.out, "%s  %s\n", map[bool]string{true: "WHOLE", false: "NOT WHOLE"}[v.GetWhole()], strings.TrimPrefix(v.GetSentence(), "Not whole: "))
			for _, h := range v.GetHeads() {
				fmt.Fprintf(k.out, "      %s/%d  %x\n", h.GetChain(), h.GetNumber(), h.GetEntrySha256())
			}
		}
		if !v.GetWhole() {
			return exitCheck, nil
		}
		return exitDone, nil
	}
}

// receiptOf reads a receipt as it is printed.
func receiptOf(text string) (*pb.Receipt, error) {
	place, hash, _ := strings.Cut(strings.TrimSpace(text), " ")
	chain, number, _ := strings.Cut(place, "/")
	n, bad := strconv.ParseUint(number, 10, 64)
	sum, err := hex.DecodeString(strings.TrimSpace(hash))
	if chain == "" || bad != nil || n == 0 || err != nil || len(sum) != sha256.Size {
		return nil, errors.New("want CHAIN/NUMBER and the hash in 64 digits, in quotes, as ask prints them")
	}
	return &pb.Receipt{Chain: chain, Number: n, EntrySha256: sum}, nil
}
