package main

import (
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// tell states what a person did or saw.
func tell(k *call) (int, error) {
	person := k.flags.String("person", "", "`NAME` of who saw or did it")
	axis1 := k.number("axis1", 0, "`DEG` axis 1 as seen, degrees; both axes or none, absent: at home")
	axis2 := k.number("axis2", 0, "`DEG` axis 2 as seen, degrees; both axes or none, absent: at home")
	sigma := k.number("sigma", 1, "`DEG` one standard deviation of what was seen; absent: 1, or more if the rig file says so of an eye; told, the marks of home count as other ones than before, and what was learnt of the pointing as open again")
	digest := k.flags.String("digest", "", "`HEX` the rig file's digest, as rigs prints it")
	residual := k.number("residual", 0, "`MM` largest difference between a measured and a computed gap")
	signs := k.flags.Bool("signs", false, "both axes were turned and went the way that the file says; without it the proof does not count")
	note := k.flags.String("note", "", "`TEXT` for people")
	as := k.flags.String("as", thisAsker, "`ASKER` in whose name it is told, where a refused report of that program holds the rig")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) < 2 || *person == "" {
		return 0, wrong("a rig, what is told (homed, proved or act NAME) and --person are wanted")
	}
	r := &pb.ReportRequest{RequestId: requestID(), Rig: words[0], SentTime: timestamppb.New(k.now()), Asker: *as}
	switch {
	case words[1] == "homed" && len(words) == 2:
		h := &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: *person}
		if k.set("sigma") {
			h.Sigma = &pb.AxisSigma{Axis1Deg: sigma, Axis2Deg: sigma}
		}
		if k.set("axis1") != k.set("axis2") { // home of the other may be any angle, and a place half told is a false one
			return 0, wrong("where the axes stand is told of both: give --axis1 and --axis2, or neither if they are at home")
		}
		if k.set("axis1") {
			h.Axes = &pb.AxisPair{Axis1Deg: axis1, Axis2Deg: axis2}
		}
		r.Event = &pb.ReportRequest_Homed{Homed: h}
	case words[1] == "proved" && len(words) == 2:
		d, err := hex.DecodeString(*digest)
		if err != nil || len(d) != 32 || !k.set("residual") {
			return 0, wrong("proved wants --digest (64 hexadecimal digits, as rigs prints them) and --residual")
		}
		r.Event = &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: *person, RigSha256: d, SignsChecked: *signs, ResidualMm: residual}}
	case words[1] == "act" && len(words) == 3:
		kind, ok := actKinds()[words[2]]
		if !ok {
			return 0, wrong("there is no act %q: %s", words[2], strings.Join(actNames(), ", "))
		}
		r.Event = &pb.ReportRequest_Act{Act: &pb.Act{Kind: kind, Person: *person, Note: *note}}
	default:
		return 0, wrong("tell homed, proved, or act NAME")
	}
	return k.report(r)
}

func actKinds() map[string]pb.ActKind {
	return map[string]pb.ActKind{
		"clutch-opened": pb.ActKind_ACT_KIND_CLUTCH_OPENED, "controller-restarted": pb.ActKind_ACT_KIND_CONTROLLER_RESTARTED,
		"power-lost": pb.ActKind_ACT_KIND_POWER_LOST, "payload-changed": pb.ActKind_ACT_KIND_PAYLOAD_CHANGED, "rebalanced": pb.ActKind_ACT_KIND_REBALANCED,
		"polar-axis-adjusted": pb.ActKind_ACT_KIND_POLAR_AXIS_ADJUSTED, "tripod-moved": pb.ActKind_ACT_KIND_TRIPOD_MOVED,
		"clock-set": pb.ActKind_ACT_KIND_CLOCK_SET, "site-set": pb.ActKind_ACT_KIND_SITE_SET,
	}
}

func actNames() []string { return slices.Sorted(maps.Keys(actKinds())) }

// report sends a report and prints what it did.
func (k *call) report(r *pb.ReportRequest) (int, error) {
	conn, err := k.dialFor(r)
	if err != nil {
		return 0, err
	}
	before := k.openPermit(conn, r.GetRig())
	ctx, cancel := k.timed()
	defer cancel()
	out, err := pb.NewMotionServiceClient(conn).Report(ctx, r)
	if err != nil {
		return 0, err
	}
	code, said := exitDone, "TAKEN IN."
	if r.GetProved() != nil {
		code, said = k.counts(conn, r)
	}
	if *k.json {
		k.printJSON(out)
		if code != exitDone {
			fmt.Fprintln(k.err, said) // the message does not say it
		}
		return code, nil
	}
	fmt.Fprintf(k.out, "%s\n      Entry %s/%d; the rig's epoch is %d.\n", said, out.GetReceipt().GetChain(), out.GetReceipt().GetNumber(), out.GetEpoch())
	for _, f := range out.GetFindings() {
		fmt.Fprintf(k.out, "      %s\n", f.GetSentence())
	}
	if before != "" && k.openPermit(conn, r.GetRig()) != before {
		fmt.Fprintln(k.out, "      The leave that was open is over with this, and nobody was told to stop: if the mount turns, stop it yourself, by the emergency stop if need be.")
	}
	return code, nil
}

// openPermit is the id of the leave by which a rig may be moving; empty: there is none, or it is not known.
func (k *call) openPermit(conn *grpc.ClientConn, rig string) string {
	ctx, cancel := k.timed()
	defer cancel()
	out, err := pb.NewRigServiceClient(conn).GetRig(ctx, &pb.GetRigRequest{Rig: rig})
	if p := out.GetRig().GetPermit(); err == nil && (p.GetState() == pb.PermitState_PERMIT_STATE_GRANTED || p.GetState() == pb.PermitState_PERMIT_STATE_BEGUN) {
		return p.GetPermitId()
	}
	return ""
}
