package keepclear

import (
	"context"
	"crypto/rand"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Times of one question. Common practice, no source: a person waits two seconds gladly and ten not at all.
const (
	callTimeout = 2 * time.Second // one try
	askTimeout  = 8 * time.Second // all tries
	readTimeout = 2 * time.Second // one sample
	retryPause  = 100 * time.Millisecond
)

// ICRS is a place on the sky in the ICRS ("J2000"), degrees.
func ICRS(raDeg, decDeg float64) *pb.SkyPosition {
	return &pb.SkyPosition{RaDeg: &raDeg, DecDeg: &decDeg, Frame: pb.SkyFrame_SKY_FRAME_ICRS}
}

// OfDate is an apparent place, true equator and equinox of date, degrees.
func OfDate(raDeg, decDeg float64) *pb.SkyPosition {
	return &pb.SkyPosition{RaDeg: &raDeg, DecDeg: &decDeg, Frame: pb.SkyFrame_SKY_FRAME_OF_DATE}
}

// Axes are mechanical angles, degrees from the rig's zero, unreduced.
func Axes(axis1Deg, axis2Deg float64) *pb.AxisPair {
	return &pb.AxisPair{Axis1Deg: &axis1Deg, Axis2Deg: &axis2Deg}
}

// Slew asks to go to a place on the sky and then track it for so long; 0 stops there.
func (h *Handle) Slew(ctx context.Context, to *pb.SkyPosition, track time.Duration) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: to}, TrackDuration: durationpb.New(track)}}})
}

// SlewAxes asks to go to mechanical angles and stop there.
func (h *Handle) SlewAxes(ctx context.Context, to *pb.AxisPair) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: to}, TrackDuration: durationpb.New(0)}}})
}

// Track asks to follow the sky from where it points.
func (h *Handle) Track(ctx context.Context, d time.Duration) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(d)}}}})
}

// Creep asks to turn one axis, 1 or 2, slowly: the way out of where parts are nearer than they may be. It passes where it is proven that no gap
// too small shrinks along it.
func (h *Handle) Creep(ctx context.Context, axis uint32, byDeg, rateDegPerS float64) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Creep{Creep: &pb.Creep{Axis: axis, ByDeg: &byDeg, RateDegPerS: &rateDegPerS}}})
}

// Jog asks to turn the axes by so much, then track for so long.
func (h *Handle) Jog(ctx context.Context, by *pb.AxisPair, track time.Duration) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: by, TrackDuration: durationpb.New(track)}}})
}

// Home asks to find the reference marks, as the rig file says.
func (h *Handle) Home(ctx context.Context) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}})
}

// Park asks to go to a place of rest; empty is the only one.
func (h *Handle) Park(ctx context.Context, place string) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: place}}})
}

// Flip asks to go to the same sky on the other side, then track for so long.
func (h *Handle) Flip(ctx context.Context, track time.Duration) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(track)}}})
}

// Sync asks whether the mount may be told that it points where a solve says.
func (h *Handle) Sync(ctx context.Context, solve *pb.Solve) Answer {
	return h.Ask(ctx, &pb.Action{Kind: &pb.Action_Sync{Sync: &pb.Sync{Solve: solve}}})
}

// Ask asks any question: reads a sample, sends it, and repeats the same bytes while nobody answers and the answer could still be
// used. One that was answered and not allowed three times in a row is asked twice a second at most.
func (h *Handle) Ask(ctx context.Context, action *pb.Action) Answer {
	if h.broken != "" {
		return h.held(nil, h.broken)
	}
	if err := h.tellUntold(ctx); err != nil {
		return h.held(nil, err.Error())
	}
	h.refused.wait(ctx, action)
	sample, err := h.read(ctx)
	if err != nil {
		return h.held(nil, fmt.Sprintf("the mount could not be read: %v", err))
	}
	req := &pb.AskRequest{
		RequestId: requestID(), Rig: h.name, Action: action, Sample: sample, SentTime: timestamppb.New(h.now()),
		Asker: h.asker, AttendedBy: h.attended, BeginLater: h.beginLater && action.GetSync() == nil, WithFacts: h.facts,
	}
	h.mu.Lock()
	if action.GetSync() == nil {
		req.ReplacesPermitId = h.permit
	}
	h.mu.Unlock()
	sent := h.now()
	reply, err := h.send(ctx, req)
	if err != nil {
		return h.held(req, why(err))
	}
	a := h.judge(req, reply, sent)
	h.refused.note(action, a.Verdict == Allow)
	return a
}

// send sends a question until it is answered, refused for good, or too old.
func (h *Handle) send(ctx context.Context, req *pb.AskRequest) (*pb.AskResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	for {
		one, stop := context.WithTimeout(ctx, callTimeout)
		reply, err := h.motion.Ask(one, req)
		stop()
		if err == nil || !again(err) {
			return reply, err
		}
		select {
		case <-ctx.Done():
			return nil, err
		case <-time.After(retryPause):
		}
	}
}

// again tells whether sending the same bytes again can help: only where the reply may have been lost.
func again(err error) bool {
	switch status.Code(err) {
	case codes.Unavailable, codes.DeadlineExceeded:
		return true
	}
	return false
}

// why says in one line why a call failed.
func why(err error) string {
	s := status.Convert(err)
	switch s.Code() {
	case codes.Unavailable:
		return "nobody answers: " + s.Message()
	case codes.DeadlineExceeded:
		return "no answer came in time"
	case codes.Canceled:
		return "it was broken off before the answer came: " + s.Message()
	case codes.InvalidArgument:
		return "the service does not take this: " + s.Message()
	case codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.OutOfRange:
		return "the service answers: " + s.Message()
	case codes.ResourceExhausted:
		return "the service has too much to do: " + s.Message()
	case codes.Unimplemented:
		return "what listens there does not know this question, as an older service would not: " + s.Message()
	}
	return "the service failed: " + s.Message()
}

// read reads one sample, in bounded time.
func (h *Handle) read(ctx context.Context) (*pb.Sample, error) {
	ctx, cancel := context.WithTimeout(ctx, readTimeout)
	defer cancel()
	s, err := h.mount.Read(ctx)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return nil, fmt.Errorf("no sample and no error")
	}
	return s, nil
}

// Report tells the service what is so: a sample, an event, or both. It fills in rig, asker, time and, with an event, a request id. An act whose
// report failed is told again, before any other event and before anything is asked; until it was heard every question is held.
func (h *Handle) Report(ctx context.Context, r *pb.ReportRequest) (*pb.ReportResponse, error) {
	if h.motion == nil {
		return nil, fmt.Errorf("reporting: %s", h.broken)
	}
	m := proto.Clone(r).(*pb.ReportRequest)
	m.Rig, m.Asker, m.SentTime = h.name, h.asker, timestamppb.New(h.now())
	if m.RequestId == "" && m.Event != nil {
		m.RequestId = requestID()
	}
	if m.Event != nil {
		if err := h.tellUntold(ctx); err != nil {
			h.keepUntold(m)
			return nil, fmt.Errorf("reporting: %w", err)
		}
	}
	h.keepUntold(m) // while it is on its way nobody asks as if it were not so
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	out, err := h.motion.Report(ctx, m)
	if err == nil || refused(err) {
		h.told(m)
	}
	if err != nil {
		return nil, fmt.Errorf("reporting: %w", err)
	}
	h.heard(out)
	return out, nil
}

// Withdraw takes the rig's leave back. Stop the mount first.
func (h *Handle) Withdraw(ctx context.Context, reason string) (*pb.WithdrawResponse, error) {
	if h.motion == nil {
		return nil, fmt.Errorf("withdrawing: %s", h.broken)
	}
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	out, err := h.motion.Withdraw(ctx, &pb.WithdrawRequest{Rig: h.name, Asker: h.asker, Reason: reason})
	if err == nil {
		h.setOpen("", 0)
	}
	return out, err
}

// requestID makes a new id: 128 random bits.
func requestID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}
