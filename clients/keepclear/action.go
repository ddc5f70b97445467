package main

import (
	"io"
	"os"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// actionFlags are the flags of which an action is made.
type actionFlags struct {
	k                     *call
	ra, dec, axis1, axis2 *float64
	frame, side           *string
	track, for_           *time.Duration
	until, order, place   *string
	rate                  *float64
	solve                 *string
}

func newActionFlags(k *call) *actionFlags {
	f := k.flags
	return &actionFlags{
		k: k, ra: k.number("ra", 0, "`DEG` right ascension, degrees, not hours"), dec: k.number("dec", 0, "`DEG` declination, degrees"),
		axis1: k.number("axis1", 0, "`DEG` axis 1, degrees"), axis2: k.number("axis2", 0, "`DEG` axis 2, degrees"),
		frame: f.String("frame", "", "`icrs|date` what the position is in; needed with --ra and --dec"), side: f.String("side", "", "`SIDE` of the tube: east, west, first or second; absent: both are judged"),
		track: k.span("track", "`TIME` to track afterwards (45m, 3h); absent: it stops there"), for_: k.span("for", "`TIME` to track (45m, 3h)"),
		until: f.String("until", "", "`INSTANT` to track until (2026-11-14T21:30:00Z)"), order: f.String("order", "", "`ORDER` of the axes: together, axis1-first or axis2-first; absent: as the rig file says"),
		place: f.String("place", "", "`NAME` of the place of rest; absent: the only one"), rate: k.number("rate", 0, "`DEG` per second, the fastest; absent: as the rig file says (a creep needs it)"),
		solve: new(string),
	}
}

// withSolve adds the flag of a sync, which cannot be rehearsed.
func (a *actionFlags) withSolve() *actionFlags {
	a.solve = a.k.flags.String("solve", "", "`FILE` with the solve as JSON; - reads standard input")
	return a
}

// action makes the action that the words and flags say.
func (a *actionFlags) action(kind string) (*pb.Action, error) {
	if a.k.form == nil {
		return nil, wrong("%s knows no action %q: %s", a.k.cmd.name, kind, a.k.cmd.names())
	}
	track := durationpb.New(*a.track)
	switch kind {
	case "slew":
		return a.slew(track)
	case "track":
		return a.tracking()
	case "jog":
		if !a.k.set("axis1") && !a.k.set("axis2") {
			return nil, wrong("a jog turns by --axis1, --axis2, or both")
		}
		j := &pb.Jog{By: &pb.AxisPair{Axis1Deg: a.axis1, Axis2Deg: a.axis2}, TrackDuration: track}
		if a.k.set("rate") {
			j.RateDegPerS = a.rate
		}
		return &pb.Action{Kind: &pb.Action_Jog{Jog: j}}, nil
	case "creep":
		return a.creep()
	case "home":
		return a.home()
	case "park":
		return &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: *a.place}}}, nil
	case "flip":
		return &pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: track}}}, nil
	case "sync":
		s := &pb.Solve{}
		if err := a.k.readJSON(*a.solve, s); err != nil {
			return nil, err
		}
		return &pb.Action{Kind: &pb.Action_Sync{Sync: &pb.Sync{Solve: s}}}, nil
	}
	return nil, wrong("%q is no action", kind)
}

func (a *actionFlags) creep() (*pb.Action, error) {
	switch {
	case a.k.set("axis1") == a.k.set("axis2"):
		return nil, wrong("a creep turns by --axis1 or by --axis2, not both")
	case !a.k.set("rate"):
		return nil, wrong("a creep needs --rate, the fastest that it may turn, as --rate 0.3")
	}
	c := &pb.Creep{Axis: 1, ByDeg: a.axis1, RateDegPerS: a.rate}
	if a.k.set("axis2") {
		c.Axis, c.ByDeg = 2, a.axis2
	}
	return &pb.Action{Kind: &pb.Action_Creep{Creep: c}}, nil
}

func (a *actionFlags) slew(track *durationpb.Duration) (*pb.Action, error) {
	s := &pb.Slew{TrackDuration: track}
	sides := map[string]pb.TubeSide{"east": pb.TubeSide_TUBE_SIDE_EAST, "west": pb.TubeSide_TUBE_SIDE_WEST, "first": pb.TubeSide_TUBE_SIDE_FIRST, "second": pb.TubeSide_TUBE_SIDE_SECOND}
	if *a.side != "" {
		side, ok := sides[*a.side]
		if !ok {
			return nil, wrong("--side %q: want east, west, first or second", *a.side)
		}
		s.Side = &side
	}
	switch {
	case a.k.set("axis1") && a.k.set("axis2") && !a.k.set("ra") && !a.k.set("dec"):
		s.Target = &pb.Slew_Axes{Axes: &pb.AxisPair{Axis1Deg: a.axis1, Axis2Deg: a.axis2}}
	case a.k.set("ra") && a.k.set("dec") && !a.k.set("axis1") && !a.k.set("axis2"):
		frames := map[string]pb.SkyFrame{"icrs": pb.SkyFrame_SKY_FRAME_ICRS, "date": pb.SkyFrame_SKY_FRAME_OF_DATE}
		frame, ok := frames[*a.frame]
		if !ok {
			return nil, wrong("--frame %q: want icrs or date; the same numbers mean another place in each", *a.frame)
		}
		s.Target = &pb.Slew_Sky{Sky: &pb.SkyPosition{RaDeg: a.ra, DecDeg: a.dec, Frame: frame}}
	default:
		return nil, wrong("a slew goes to --ra and --dec (with --frame), or to --axis1 and --axis2")
	}
	return &pb.Action{Kind: &pb.Action_Slew{Slew: s}}, nil
}

func (a *actionFlags) tracking() (*pb.Action, error) {
	switch {
	case a.k.set("for") && *a.until == "":
		return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(*a.for_)}}}}, nil
	case *a.until != "" && !a.k.set("for"):
		t, err := time.Parse(time.RFC3339, *a.until)
		if err != nil {
			return nil, wrong("--until %q is no instant: want one like 2026-11-14T21:30:00Z", *a.until)
		}
		return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(t)}}}}, nil
	}
	return nil, wrong("track takes --for 3h or --until INSTANT, one of them")
}

func (a *actionFlags) home() (*pb.Action, error) {
	h := &pb.Home{}
	orders := map[string]pb.AxisOrder{"together": pb.AxisOrder_AXIS_ORDER_TOGETHER, "axis1-first": pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST, "axis2-first": pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST}
	if *a.order != "" {
		o, ok := orders[*a.order]
		if !ok {
			return nil, wrong("--order %q: want together, axis1-first or axis2-first", *a.order)
		}
		h.Order = &o
	}
	return &pb.Action{Kind: &pb.Action_Home{Home: h}}, nil
}

// readJSON reads a message from a file, or from standard input for "-".
func (k *call) readJSON(file string, into proto.Message) error {
	if file == "" {
		return wrong("a file with JSON is wanted; - reads it from standard input")
	}
	var b []byte
	var err error
	if file == "-" {
		b, err = io.ReadAll(k.in)
	} else {
		b, err = os.ReadFile(file)
	}
	if err != nil {
		return wrong("%v", err)
	}
	if err := protojson.Unmarshal(b, into); err != nil {
		return wrong("%s holds no %s as JSON: %v", file, into.ProtoReflect().Descriptor().Name(), err)
	}
	return nil
}
