package rpc_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A permit that a limit in the mount may have to end shows that limit as it was last seen: as a report told it, unless the rig file was
// written later. Wherever the permit is shown, it shows the same.
func TestPermitShowsTheMountsLimitAsLastSeen(t *testing.T) {
	for name, c := range map[string]struct {
		file  time.Time // when the rig file says that it saw 97°
		limit float64
		seen  time.Time
	}{
		"a report after the file": {time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC), 96, evening},
		"never seen, by the file": {time.Time{}, 96, evening},
		"a file after the report": {evening.Add(time.Minute), 97, evening.Add(time.Minute)},
	} {
		b := newBench(t)
		b.rig.Stop = rig.Fallback{Kind: rig.MountLimit, Axis: 1, Limit: unit.Deg(97), Seen: c.file}
		b.ready()
		b.mustReport(&pb.ReportRequest{Event: &pb.ReportRequest_MountLimitSeen{MountLimitSeen: &pb.MountLimitSeen{Axis: 1, LimitDeg: ptr(96.0)}}})
		q := b.slew(-30, 60)
		slewOf(q).TrackDuration = durationpb.New(10 * time.Minute)
		shows := func(where string, p *pb.Permit) {
			t.Helper()
			f := p.GetFallback()
			require.Equal(t, pb.FallbackKind_FALLBACK_KIND_MOUNT_LIMIT, f.GetKind(), "%s: %s", name, where)
			assert.InDelta(t, c.limit, f.GetLimitDeg(), 1e-9, "%s: %s", name, where)
			assert.Equal(t, c.seen, f.GetSeenTime().AsTime(), "%s: %s", name, where)
		}
		shows("the answer", b.allowed(q).GetPermit())
		shows("the answer again", b.mustAsk(q).GetPermit())
		shows("a report's reply", b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0)}).GetPermit())
		got, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
		require.NoError(t, err)
		shows("the rig", got.GetRig().GetPermit())
		shows("the record", b.entry(q.GetRequestId()).GetAsked().GetResponse().GetPermit())
	}
}

func ptr[T any](v T) *T { return &v }
