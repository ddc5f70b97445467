package main

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

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

// Sample is what the mount says of itself, of one instant. A real driver makes it of what it reads, and leaves out what it cannot read, at
// the price that the API's comments name:
//
//	return &pb.Sample{
//		Time:        timestamppb.New(read),            // when it was read
//		Motion:      &motion,                          // at rest, tracking or moving
//		Belief:      &pb.Belief{Sky: keepclear.OfDate(raDeg, decDeg), Side: &side}, // where it says it points; its side
//		MountLstDeg: &lstDeg,                          // its own sidereal time, degrees
//		MountSite:   &pb.SitePoint{LatDeg: &lat, LonDeg: &lon}, // its own site, east positive
//		Readings:    readings,                         // encoders or counters, where it has any, by source
//		RunMark:     bootCount,                        // what changes when it restarts
//		SyncCount:   &syncs,                           // how many syncs it has counted
//	}, nil
func (m *mount) Sample(ctx context.Context) (*pb.Sample, error) {
	r, err := m.rigs.GetRig(ctx, &pb.GetRigRequest{Rig: "heron"})
	if err != nil {
		return nil, fmt.Errorf("reading the simulated mount: %w", err)
	}
	return r.GetRig().GetLastSample(), nil
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
