package keepclear

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// An act that was reported to nobody ("the clutch was opened") is one that no sample may ever show. Until the service has heard it nothing is
// asked and no leave is used: the pose that it would judge by is that of before. A refused one needs no keeping, for the service itself then
// holds the rig.

// keepUntold keeps an act that the service may not have heard of, to be told again with the same bytes; one that says the same is kept once.
func (h *Handle) keepUntold(m *pb.ReportRequest) {
	if m.GetAct() == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if !slices.ContainsFunc(h.untold, func(o *pb.ReportRequest) bool { return o == m || proto.Equal(o.GetAct(), m.GetAct()) }) {
		h.untold = append(h.untold, m)
	}
}

// told takes an act, and what says the same, off those that the service may not have heard of.
func (h *Handle) told(m *pb.ReportRequest) {
	if m.GetAct() == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.untold = slices.DeleteFunc(h.untold, func(o *pb.ReportRequest) bool { return o == m || proto.Equal(o.GetAct(), m.GetAct()) })
}

// refused tells whether the service heard a report and did not understand it: it holds the rig by itself then.
func refused(err error) bool { return status.Code(err) == codes.InvalidArgument }

// firstUntold is the oldest act that the service may not have heard of; nil: there is none.
func (h *Handle) firstUntold() *pb.ReportRequest {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.untold) == 0 {
		return nil
	}
	return h.untold[0]
}

// tellUntold tells what was not heard, oldest first. An error: some of it is not told yet.
func (h *Handle) tellUntold(ctx context.Context) error {
	h.telling.Lock()
	defer h.telling.Unlock()
	for m := h.firstUntold(); m != nil; m = h.firstUntold() {
		one, stop := context.WithTimeout(ctx, callTimeout)
		out, err := h.motion.Report(one, m)
		stop()
		if err != nil && !refused(err) {
			return fmt.Errorf("%s: %s", unheard(m), why(err))
		}
		if err == nil {
			h.heard(out)
		}
		h.told(m)
	}
	return nil
}

// unheard says what the service may not have heard.
func unheard(m *pb.ReportRequest) string {
	act := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(m.GetAct().GetKind().String(), "ACT_KIND_"), "_", " "))
	return fmt.Sprintf("an act was reported (%s) and the service may not have heard of it", act)
}
