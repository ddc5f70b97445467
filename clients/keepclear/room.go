package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// whatIf reads what is changed together in a rig's file as it is written: KEY=NUMBER, or KEY+=NUMBER for how much more, with commas between.
func whatIf(text string) (*pb.WhatIf, error) {
	out := &pb.WhatIf{}
	for i, one := range strings.Split(text, ",") {
		c, err := fileChange(one)
		switch {
		case err != nil:
			return nil, err
		case i == 0:
			out.Key, out.Value, out.Added = c.Key, c.Value, c.Added
		default:
			out.Also = append(out.Also, c)
		}
	}
	return out, nil
}

func fileChange(text string) (*pb.FileChange, error) {
	key, value, _ := strings.Cut(plainMinus(text), "=")
	key, added := strings.CutSuffix(strings.TrimSpace(key), "+")
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || key == "" {
		return nil, errors.New("KEY=NUMBER is wanted, a key of the rig's file, or KEY+=NUMBER for how much more; several that change together with commas between")
	}
	return &pb.FileChange{Key: strings.TrimSpace(key), Value: &v, Added: added}, nil
}

// states takes states of parts as they are written: roof=open, focuser=35mm, rotator=20deg.
func (k *call) states(into *[]*pb.PartState) {
	k.flags.Func("state", "`PART=STATE` take a part in one of its states: roof=open, focuser=35mm, rotator=20deg; may be repeated; parts not named are in all of theirs at once", func(text string) error {
		part, state, ok := strings.Cut(plainMinus(text), "=")
		out := &pb.PartState{Part: strings.TrimSpace(part)}
		state = strings.TrimSpace(state)
		if !ok || out.Part == "" || state == "" {
			return errors.New("PART=STATE is wanted")
		}
		out.State = &pb.PartState_Name{Name: state}
		if mm, is := measure(state, "mm"); is {
			out.State = &pb.PartState_TravelMm{TravelMm: mm}
		} else if deg, is := measure(state, "deg"); is {
			out.State = &pb.PartState_AngleDeg{AngleDeg: deg}
		}
		*into = append(*into, out)
		return nil
	})
}

// measure reads a number with its unit.
func measure(text, unit string) (float64, bool) {
	number, ok := strings.CutSuffix(text, unit)
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	return v, ok && err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// room has the service say how far the axes of a rig may turn.
func room(k *call) (int, error) {
	gap := k.number("gap", 0, "`MM` to keep between all parts; absent: the margins in force")
	band := k.number("band", 30, "`DEG` width of the bands of axis 2; absent: 30")
	picture := k.flags.String("picture", "", "`FILE` to draw the map into (SVG)")
	req := &pb.SurveyRigRequest{}
	k.states(&req.Parts)
	k.flags.Func("what-if", "`KEY=NUMBER` how it would be if a number of the rig's file were another, or KEY+=NUMBER; what changes together with commas between; may be repeated, and is then shown side by side", func(text string) error {
		w, err := whatIf(text)
		req.WhatIfs = append(req.WhatIfs, w)
		return err
	})
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) != 1 {
		return 0, wrong("one rig is wanted")
	}
	if req.Rig = words[0]; k.set("gap") {
		req.GapMm = gap
	}
	if k.set("band") {
		req.BandDeg = band
	}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	c := pb.NewRigServiceClient(conn)
	if err := k.printSurveys(c, req); err != nil || *picture == "" {
		return exitDone, err
	}
	r, err := c.DrawRig(k.ctx, &pb.DrawRigRequest{Rig: req.Rig, Kind: pb.PictureKind_PICTURE_KIND_MAP, GapMm: req.GapMm, Parts: req.Parts})
	if err != nil {
		return 0, err
	}
	return k.keepPicture(*picture, r, "The map")
}

// printSurveys prints what comes of a survey; how far the work is goes beside it, for who waits.
func (k *call) printSurveys(c pb.RigServiceClient, req *pb.SurveyRigRequest) error {
	stream, err := c.SurveyRig(k.ctx, req)
	if err != nil {
		return err
	}
	half, got := false, 0
	for {
		r, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF) && got == 1+len(req.GetWhatIfs()):
			return nil
		case errors.Is(err, io.EOF):
			return fmt.Errorf("the survey ended early: %w", io.ErrUnexpectedEOF)
		case err != nil:
			return err
		}
		if p := r.GetProgress(); p != nil {
			if now := p.GetDoneRatio() >= 0.5; now && !half && !*k.json {
				fmt.Fprintln(k.err, "half of the map is worked out …")
			}
			half = p.GetDoneRatio() >= 0.5
			continue
		}
		if *k.json {
			k.printJSON(r)
		} else {
			if got > 0 {
				fmt.Fprintln(k.raw)
			}
			k.printLines(r.GetSurvey().GetLines())
			fmt.Fprintf(k.raw, "digest %x\n", r.GetSurvey().GetRigSha256())
			if beside := r.GetSurvey().GetSideBySide(); len(beside) > 0 {
				fmt.Fprintln(k.raw)
				k.printLines(beside)
			}
		}
		got++
	}
}

// printLines prints lines that the service broke where they belong.
func (k *call) printLines(lines []string) {
	for _, l := range lines {
		fmt.Fprintln(k.raw, l)
	}
}

// view has the service say how near the parts of a rig are at a pose, and draw it.
func view(k *call) (int, error) {
	axis1 := k.number("axis1", 0, "`DEG` axis 1, degrees; absent: as the service holds it")
	axis2 := k.number("axis2", 0, "`DEG` axis 2, degrees; absent: as the service holds it")
	picture := k.flags.String("picture", "", "`FILE` to draw the rig into (SVG)")
	req := &pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG}
	k.states(&req.Parts)
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) != 1 || k.set("axis1") != k.set("axis2") {
		return 0, wrong("one rig is wanted, and both axes or none")
	}
	req.Rig = words[0]
	if k.set("axis1") {
		req.Axes = &pb.AxisPair{Axis1Deg: axis1, Axis2Deg: axis2}
	}
	conn, err := k.dialFor(req)
	if err != nil {
		return 0, err
	}
	ctx, cancel := k.timed()
	defer cancel()
	r, err := pb.NewRigServiceClient(conn).DrawRig(ctx, req)
	if s := status.Convert(err); s.Code() == codes.InvalidArgument && req.GetAxes() == nil && refuses(s, "axes") {
		return 0, status.Error(s.Code(), s.Message()+" (--axis1 DEG --axis2 DEG)") // the service knows no flags
	}
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
	} else {
		k.printLines(r.GetLines())
	}
	if *picture == "" {
		return exitDone, nil
	}
	return k.keepPicture(*picture, r, "The rig")
}

// keepPicture writes a picture into a file, and says so unless the output is JSON.
func (k *call) keepPicture(file string, r *pb.DrawRigResponse, what string) (int, error) {
	if err := os.WriteFile(file, []byte(r.GetSvg()), 0o644); err != nil {
		return 0, wrong("--picture: %v", err)
	}
	if !*k.json {
		fmt.Fprintf(k.raw, "%s is drawn in %s.\n", what, file)
	}
	return exitDone, nil
}
