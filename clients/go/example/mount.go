package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// mount stands for a mount's driver. This one is the simulated mount of serve --practice, which moves by itself on what is allowed: a real
// driver would send the motion, and wait for its end as this one does.
type mount struct {
	conn *grpc.ClientConn
	rigs pb.RigServiceClient
}

func dial(address string) (*mount, error) {
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return nil, fmt.Errorf("reaching the simulated mount: %w", err)
	}
	return &mount{conn, pb.NewRigServiceClient(conn)}, nil
}

// reading is what a driver reads off a mount at one instant.
type reading struct {
	at                 time.Time
	motion             pb.Motion // at rest, tracking or moving
	raDeg, decDeg      float64   // where it says that it points, of date
	side               pb.TubeSide
	lstDeg             float64 // its own sidereal time
	latDeg, lonDeg     float64 // its own site, east positive
	axis1Deg, axis2Deg float64 // its motor counts, from the rig's zero
	started            string  // what changes whenever it restarts
	syncs              uint32  // that it has counted
}

// sample is what the service is told of a reading. Leave out what your mount does not tell, at the price that the API's comments name.
func (r reading) sample() *pb.Sample {
	return &pb.Sample{
		Time:        timestamppb.New(r.at),
		Motion:      &r.motion,
		Belief:      &pb.Belief{Sky: keepclear.OfDate(r.raDeg, r.decDeg), Side: &r.side},
		MountLstDeg: &r.lstDeg,
		MountSite:   &pb.SitePoint{LatDeg: &r.latDeg, LonDeg: &r.lonDeg},
		Readings:    []*pb.AxisReading{{Source: pb.PoseSource_POSE_SOURCE_MOTOR_COUNT, Axes: keepclear.Axes(r.axis1Deg, r.axis2Deg)}},
		RunMark:     r.started,
		SyncCount:   &r.syncs,
	}
}

// Sample reads the mount: here, what the simulated one last told the service.
func (m *mount) Sample(ctx context.Context) (*pb.Sample, error) {
	r, err := m.rigs.GetRig(ctx, &pb.GetRigRequest{Rig: "heron"})
	if err != nil {
		return nil, fmt.Errorf("reading the simulated mount: %w", err)
	}
	s := r.GetRig().GetLastSample()
	if len(s.GetReadings()) == 0 {
		return nil, errors.New("reading the simulated mount: it has told nothing yet")
	}
	sky, site, counts := s.GetBelief().GetSky(), s.GetMountSite(), s.GetReadings()[0].GetAxes()
	return reading{
		at: s.GetTime().AsTime(), motion: s.GetMotion(), raDeg: sky.GetRaDeg(), decDeg: sky.GetDecDeg(), side: s.GetBelief().GetSide(),
		lstDeg: s.GetMountLstDeg(), latDeg: site.GetLatDeg(), lonDeg: site.GetLonDeg(),
		axis1Deg: counts.GetAxis1Deg(), axis2Deg: counts.GetAxis2Deg(), started: s.GetRunMark(), syncs: s.GetSyncCount(),
	}.sample(), nil
}

// Stop stops both axes. The simulated mount stops when its permit is over.
func (m *mount) Stop(context.Context) error { return nil }

// Slew goes to a place and tracks it; it returns once the mount tracks.
func (m *mount) Slew(ctx context.Context, _ *pb.SkyPosition) error {
	return m.until(ctx, pb.Motion_MOTION_TRACKING)
}

// Home finds the marks; it returns once the mount rests there.
func (m *mount) Home(ctx context.Context) error { return m.until(ctx, pb.Motion_MOTION_AT_REST) }

// StopAndSay stops the mount and gives back the leave that it had.
func (m *mount) StopAndSay(ctx context.Context, rig *keepclear.Handle) error {
	if err := m.Stop(ctx); err != nil {
		return err
	}
	_, err := rig.Withdraw(ctx, "the night is over")
	return err
}

// until waits for a state of motion in a sample later than the call: what was read before shows nothing of a motion sent since.
func (m *mount) until(ctx context.Context, wanted pb.Motion) error {
	for sent := time.Now(); ; {
		s, err := m.Sample(ctx)
		switch {
		case err != nil:
			return err
		case s.GetTime().AsTime().After(sent.Add(2*time.Second)) && s.GetMotion() == wanted:
			return nil
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-time.After(200 * time.Millisecond):
		}
	}
}
