package keepclear_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

func clutchOpened() *pb.ReportRequest {
	return &pb.ReportRequest{Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLUTCH_OPENED, Person: "R. Alder"}}}
}

// An act whose report was lost shows in no sample: nothing is asked and no leave is used until it was heard, with the same bytes.
func TestAnActThatNobodyHeardHoldsEverything(t *testing.T) {
	ctx := context.Background()
	for _, code := range []codes.Code{codes.Unavailable, codes.DeadlineExceeded, codes.Internal, codes.PermissionDenied} {
		f, m := &fake{}, &mount{}
		h := m.handle(t, served(t, f))
		leave := h.Slew(ctx, keepclear.ICRS(38.2, 61.45), 0)
		require.True(t, leave.Allowed(), "%v", leave)
		f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return nil, status.Error(code, "down") }
		_, err := h.Report(ctx, clutchOpened())
		require.Error(t, err)
		require.Len(t, f.told(), 1)

		assert.False(t, leave.Allowed(), "leave of before is not used")
		done := leave.Move(ctx, func(context.Context, *pb.Permit) error { t.Error("it moved"); return nil })
		assert.Contains(t, done.Why, "an act was reported (clutch opened) and the service may not have heard of it")
		a := h.Home(ctx)
		assert.Equal(t, keepclear.Hold, a.Verdict, "%s: %v", code, a)
		assert.Contains(t, a.Why, "may not have heard of it")
		_, err = h.Report(ctx, &pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{}}})
		assert.Error(t, err, "%s: what came later is not told before it", code)
		assert.Len(t, f.questions(), 1, "%s: nothing more was asked", code)
		for _, r := range f.told() {
			assert.NotNil(t, r.GetAct(), "%s: nothing else was told", code)
		}

		f.report = nil
		assert.True(t, h.Home(ctx).Allowed(), "%s: heard, and asked", code)
		all := f.told()
		assert.True(t, proto.Equal(all[0], all[len(all)-1]), "%s: the same bytes: %v", code, all)
		assert.True(t, h.Home(ctx).Allowed())
		assert.Len(t, f.told(), len(all), "%s: once heard it is told no more", code)
	}
}

// A refused act is the service's to hold the rig for; and a sample or an end that was lost holds nothing.
func TestWhatIsRefusedOrShowsByItselfIsNotToldAgain(t *testing.T) {
	for name, c := range map[string]struct {
		report *pb.ReportRequest
		code   codes.Code
	}{
		"a refused act": {clutchOpened(), codes.InvalidArgument},
		"a sample":      {&pb.ReportRequest{Sample: &pb.Sample{}}, codes.Unavailable},
		"an end":        {&pb.ReportRequest{Event: &pb.ReportRequest_End{End: &pb.End{PermitId: "p"}}}, codes.Unavailable},
	} {
		f, m := &fake{}, &mount{}
		h := m.handle(t, served(t, f))
		f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return nil, status.Error(c.code, "no") }
		_, err := h.Report(t.Context(), c.report)
		require.Error(t, err, name)
		assert.True(t, h.Home(t.Context()).Allowed(), name)
		assert.Len(t, f.told(), 1, name)
	}
}
