package rpc

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// usualBand is the width of the bands of axis 2 where none is asked for. Choice: a dozen lines for a whole turn.
const usualBand = 30 * unit.Degree

// progressStep is by how much a survey goes on between two words of progress, as a share. Choice: ten words a map.
const progressStep = 0.1

// While questions and reports are judged a survey stands still, looking again after aWhile, but no longer than mostWhiles of these at a time, so
// that it comes to its end beside a service that is never idle. Choice: a map has 2,025 steps, so that it may last up to 40 s more.
const (
	aWhile     = time.Millisecond
	mostWhiles = 20
)

// giveWay lets go first who waits to be judged, and tells how many whiles that took.
func (s *Server) giveWay(ctx context.Context) int {
	for n := range mostWhiles {
		if s.judging.Load() == 0 {
			return n
		}
		select {
		case <-ctx.Done():
			return n
		case <-s.After(aWhile):
		}
	}
	return mostWhiles
}

// judges notes that a request is judged, where it is of a kind that is; done ends that.
func (s *Server) judges(msg proto.Message) (done func()) {
	if yes, _ := recorded(msg); !yes {
		return func() {}
	}
	s.judging.Add(1)
	return func() {
		s.judging.Add(-1)
		s.first.Do(func() { close(s.answered) })
	}
}

// Answered is closed once the first request that is judged has its answer, whatever that is: work that can wait lets it go first.
func (s *Server) Answered() <-chan struct{} { return s.answered }

// surveyRig surveys a rig as it is, then with each change; what cannot be changed is told before any work.
func (s *Server) surveyRig(ctx context.Context, c call[*pb.SurveyRigRequest], ss grpc.ServerStream) error {
	of, err := s.ofRig(c.msg.GetRig(), c.msg.GapMm, c.msg.GetParts())
	if err != nil {
		return err
	}
	if of.Band = usualBand; c.msg.BandDeg != nil {
		of.Band = unit.Deg(c.msg.GetBandDeg())
	}
	all := []variant{{of: of}}
	for i, m := range c.msg.GetWhatIfs() {
		changes := wire.Changes(m)
		changed, err := s.changed(ctx, of, changes, i)
		if err != nil {
			return err
		}
		all = append(all, variant{changed, rig.Together(changes)})
	}
	return s.surveyAll(ctx, all, ss)
}

// variant is a rig as it is, or with changes, in words.
type variant struct {
	of   survey.Of
	what string
}

// surveyAll sends progress and a survey of each; with the last of several, all of them side by side.
func (s *Server) surveyAll(ctx context.Context, all []variant, ss grpc.ServerStream) error {
	var columns []draw.Column
	for i, one := range all {
		found, err := s.surveyed(ctx, one.of, i, ss)
		if err != nil {
			return err
		}
		asked := draw.Asked{Gap: one.of.Gap, What: one.what, Parts: one.of.Parts, Widened: one.of.Widened}
		columns = append(columns, draw.NewColumn(found, asked))
		m := wire.Survey(one.of.Rig, found, asked, i)
		if i > 0 && i == len(all)-1 {
			m.SideBySide = wire.Lines(draw.SideBySide(all[0].of.Rig, columns))
		}
		if err := ss.SendMsg(&pb.SurveyRigResponse{Step: &pb.SurveyRigResponse_Survey{Survey: m}}); err != nil {
			return err
		}
	}
	return nil
}

// surveyed works out one survey and sends progress beside it: a reader who takes none waits alone, for the work has the turn of all maps.
func (s *Server) surveyed(ctx context.Context, of survey.Of, whatIf int, ss grpc.ServerStream) (*reach.Survey, error) {
	latest := make(chan float64, 1)
	var sending sync.WaitGroup
	defer sending.Wait()
	defer close(latest)
	sending.Go(func() {
		for share := range latest {
			// A reader who is gone ends the work by its context.
			_ = ss.SendMsg(&pb.SurveyRigResponse{Step: &pb.SurveyRigResponse_Progress{Progress: &pb.SurveyProgress{WhatIf: uint32(whatIf), DoneRatio: &share}}})
		}
	})
	told := 0.0
	return s.surveys.Survey(ctx, of, func(share float64) {
		s.giveWay(ctx)
		if share < told+progressStep {
			return
		}
		told = share
		select {
		case <-latest: // not taken: a newer one is as good
		default:
		}
		latest <- share
	})
}

// ofRig is what is surveyed or drawn of a rig that is served, with the gaps that are in force and parts in the states named.
func (s *Server) ofRig(name string, gapMm *float64, parts []*pb.PartState) (survey.Of, error) {
	m, err := s.decider.Member(name)
	if err != nil {
		return survey.Of{}, err
	}
	of := survey.Of{Rig: m.Rig, Limits: m.Limits, Gap: wire.Gap(gapMm), Band: usualBand, Parts: wire.Parts(parts)}
	for i, p := range of.Parts {
		if err := m.Rig.HasState(p); err != nil {
			return survey.Of{}, conflict(fmt.Sprintf("parts[%d]", i), "a part of the rig and one of its states", err.Error(), "name it as the rig's file does")
		}
	}
	proof, err := s.decider.Proof(name)
	of.Widened = unit.Length(proof.Widens(m.Rig.Digest))
	return of, err
}

// changed is the same of the rig that its file would make with changes; what gauges found of the file counts there too, or two rigs would be compared
// that differ in more than these.
func (s *Server) changed(ctx context.Context, of survey.Of, all []rig.Change, i int) (survey.Of, error) {
	done, err := s.surveys.Turn(ctx) // reading meshes takes as long as a map
	defer done()
	if err != nil {
		return of, err
	}
	path := fmt.Sprintf("what_ifs[%d]", i)
	r, limits, err := s.WhatIf(of.Rig.ID, all)
	switch {
	case errors.Is(err, rig.ErrChange):
		return of, conflict(path+".key", "a key of the rig's file that holds one number", err.Error(), "name a key as the file writes it, as tape.floor_to_crossing_mm")
	case err != nil:
		return of, conflict(path+".value", "a number with which the file loads", err.Error(), "try another number")
	}
	of.Rig, of.Limits = r, limits
	return of, nil
}

// drawRig draws a rig at a pose, or its map.
func (s *Server) drawRig(ctx context.Context, c call[*pb.DrawRigRequest]) (proto.Message, error) {
	of, err := s.ofRig(c.msg.GetRig(), c.msg.GapMm, c.msg.GetParts())
	if err != nil {
		return nil, err
	}
	pose, permit, err := s.decider.Going(c.msg.GetRig(), c.at)
	if err != nil {
		return nil, err
	}
	course := courseOf(c.msg, pose, permit)
	if c.msg.GetKind() == pb.PictureKind_PICTURE_KIND_MAP {
		return s.drawMap(ctx, of, course)
	}
	if len(course.Places) == 0 {
		return nil, conflict("axes", "both axis angles, for where the rig is now is not known", "none", "name the pose to be drawn")
	}
	done, err := s.drawing.Take(ctx) // not the turn of maps: a picture takes a hundredth of one
	defer done()
	if err != nil {
		return nil, err
	}
	at := course.Places[0]
	v := draw.NewView(of.Rig, of.Scene(), at, of.Parts...)
	text := v.Text()
	if c.msg.GetAxes() == nil {
		text += draw.Unsure(pose)
	}
	return &pb.DrawRigResponse{Svg: v.Picture(), RigSha256: of.Rig.Digest[:], Axes: wire.AxisPair(at), Nearest: wire.Nearest(v), Lines: wire.Lines(text)}, nil
}

func (s *Server) drawMap(ctx context.Context, of survey.Of, course *draw.Course) (proto.Message, error) {
	found, err := s.surveys.Survey(ctx, of, func(float64) { s.giveWay(ctx) })
	if err != nil {
		return nil, err
	}
	asked := draw.Asked{Gap: of.Gap, Parts: of.Parts, Widened: of.Widened}
	out := &pb.DrawRigResponse{Svg: draw.Map(of.Rig, found, asked, course), RigSha256: of.Rig.Digest[:], Lines: wire.Lines(draw.Room(of.Rig, found, asked))}
	if len(course.Places) > 0 {
		out.Axes = wire.AxisPair(course.Places[0])
	}
	return out, nil
}

// courseOf is where a rig is and is to go: as asked, else as held and permitted. An end asked for, or a pose other than the one held, has
// nothing to do with the permit.
func courseOf(m *pb.DrawRigRequest, pose question.Pose, permit *question.Permit) *draw.Course {
	out := &draw.Course{Intended: wire.Axes(m.GetIntendedEnd())}
	for _, end := range m.GetPredictedEnds() {
		out.Predicted = append(out.Predicted, *wire.Axes(end))
	}
	if at := wire.Axes(m.GetAxes()); at != nil {
		out.Places = append(out.Places, *at)
	} else {
		for _, c := range pose.Candidates {
			out.Places = append(out.Places, c.Axes)
		}
	}
	if permit != nil && len(permit.Ends) > 0 && m.GetAxes() == nil && out.Intended == nil && out.Predicted == nil {
		out.Intended, out.Predicted = &permit.Ends[0], permit.Ends[1:]
	}
	return out
}
