package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
)

// fileChecker is rpc's CheckRig: a file with the files sent beside it, under the facility's limits. One is checked at a time: meshes and
// maps take room and both processors, which the askers of motions need.
func fileChecker(facility *limits.Layer, now func() time.Time) func(context.Context, *pb.CheckRigRequest) (*pb.CheckRigResponse, error) {
	turn := make(chan struct{}, 1)
	return func(ctx context.Context, req *pb.CheckRigRequest) (*pb.CheckRigResponse, error) {
		select {
		case turn <- struct{}{}:
			defer func() { <-turn }()
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		return checkFile(ctx, req, facility, now()), ctx.Err()
	}
}

func checkFile(ctx context.Context, req *pb.CheckRigRequest, facility *limits.Layer, now time.Time) *pb.CheckRigResponse {
	name := req.GetFile()
	if name == "" {
		name = "rig file"
	}
	beside := newSent(req.GetFiles())
	r, faults, found := rig.Examine(name, req.GetContent(), beside.open)
	if r != nil {
		faults = slices.Concat(unjudged(r), unlived(r, now), beside.unused())
	}
	out := &pb.CheckRigResponse{}
	for _, f := range append(faults, beside.twice...) {
		out.Faults = append(out.Faults, faultOut(f))
	}
	if len(out.Faults) > 0 {
		out.Finds = findsOut(found)
		return out
	}
	set, err := limitsFit(r, facility, name)
	if err != nil {
		ofRig, common := ofLimits(err, facility)
		for _, f := range common {
			ofRig = append(ofRig, limits.Faults{f})
		}
		for _, one := range ofRig {
			f := rig.Fault{File: name, Key: "limits", Wanted: "limits that only tighten", Got: one.Error(), Remedy: "take out or tighten the limits named"}
			errors.As(one, &f)
			out.Faults = append(out.Faults, faultOut(f))
		}
		return out
	}
	out.Loads, out.Understood, out.RigSha256 = true, rig.Understood(r), r.Digest[:]
	out.Finds = findsOut(inspected(ctx, r, set, now))
	return out
}

func faultOut(f rig.Fault) *pb.FileFault {
	return &pb.FileFault{File: f.File, Line: uint32(f.Line), Key: f.Key, Wanted: f.Wanted, Got: f.Got, Remedy: f.Remedy}
}

func findsOut(found []rig.Find) (out []*pb.FileFind) {
	for _, f := range found {
		out = append(out, &pb.FileFind{Kind: findKinds[f.Kind], Information: f.Info, File: f.File, Line: uint32(f.Line), Key: f.Key, Words: f.Words, Remedy: f.Remedy})
	}
	return out
}

var findKinds = map[rig.FindKind]pb.FileFindKind{
	rig.Overlaps: pb.FileFindKind_FILE_FIND_KIND_OVERLAP, rig.Mirrored: pb.FileFindKind_FILE_FIND_KIND_MIRRORED, rig.OtherUnit: pb.FileFindKind_FILE_FIND_KIND_OTHER_UNIT,
	rig.TooNear: pb.FileFindKind_FILE_FIND_KIND_TOO_NEAR, rig.WideTravel: pb.FileFindKind_FILE_FIND_KIND_WIDE_TRAVEL, rig.SmallMargin: pb.FileFindKind_FILE_FIND_KIND_SMALL_MARGIN,
	rig.Touching: pb.FileFindKind_FILE_FIND_KIND_TOUCHING, rig.Unchanging: pb.FileFindKind_FILE_FIND_KIND_UNCHANGING, rig.Overruns: pb.FileFindKind_FILE_FIND_KIND_OVERRUN,
	rig.Replaced: pb.FileFindKind_FILE_FIND_KIND_REPLACED, rig.RestHeld: pb.FileFindKind_FILE_FIND_KIND_REST_HELD, rig.Old: pb.FileFindKind_FILE_FIND_KIND_OLD,
	rig.Unused: pb.FileFindKind_FILE_FIND_KIND_UNUSED, rig.OpenMesh: pb.FileFindKind_FILE_FIND_KIND_OPEN_MESH, rig.Idle: pb.FileFindKind_FILE_FIND_KIND_IDLE, rig.NotKnown: pb.FileFindKind_FILE_FIND_KIND_NOT_KNOWN,
	rig.Untold: pb.FileFindKind_FILE_FIND_KIND_UNTOLD,
}

// sent are the files that came beside a rig file.
type sent struct {
	files  []*pb.NamedFile
	opened map[string]bool
	twice  []rig.Fault
}

func newSent(files []*pb.NamedFile) *sent {
	s := &sent{files: files, opened: map[string]bool{}}
	seen := map[string]bool{}
	for i, f := range files {
		if seen[f.GetName()] {
			s.twice = append(s.twice, ofRequest(i, "each file once", strconv.Quote(f.GetName())+" again", "send one of the two"))
		}
		seen[f.GetName()] = true
	}
	return s
}

func ofRequest(i int, wanted, got, remedy string) rig.Fault {
	return rig.Fault{Key: fmt.Sprintf("files.%d", i+1), Wanted: wanted, Got: got, Remedy: remedy}
}

// errNotSent is the error of a file that is named and did not come.
var errNotSent = fmt.Errorf("%w among the files sent", fs.ErrNotExist)

// open is a rig.Opener.
func (s *sent) open(name string) ([]byte, error) {
	s.opened[name] = true
	for _, f := range s.files {
		if f.GetName() == name {
			return f.GetContent(), nil
		}
	}
	return nil, fmt.Errorf("%s: %w", name, errNotSent)
}

// unused are the faults of files that the rig file does not name. They are looked for where all else was read.
func (s *sent) unused() []rig.Fault {
	var out []rig.Fault
	for i, f := range s.files {
		if !s.opened[f.GetName()] {
			out = append(out, ofRequest(i, "files that the rig file names", strconv.Quote(f.GetName()), "leave it out, or correct its name or the one in the rig file"))
		}
	}
	return out
}
