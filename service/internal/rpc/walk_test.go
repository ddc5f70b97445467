package rpc_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// believing is the sample of a rig at rest at angles that believes itself off them by so much, degrees.
func (b *bench) believing(at, off [2]float64) *pb.Sample {
	s := b.sample(at[0], at[1])
	s.Belief = b.sample(at[0]+off[0], at[1]+off[1]).GetBelief()
	return s
}

// walk asks for syncs each a step further than the one before, two minutes apart, and syncs where that is allowed, until one is not. It
// returns the syncs done, how far belief was walked, and the answer that stopped it.
func (b *bench) walk(at, step [2]float64, most int) (done int, off [2]float64, last *pb.AskResponse) {
	b.t.Helper()
	syncs := uint32(0)
	sample := func() *pb.Sample {
		s, n := b.believing(at, off), syncs
		s.SyncCount = &n
		return s
	}
	for done = range most {
		b.wait(2 * time.Minute)
		for range 2 { // quiet on both sides of the exposure
			b.mustReport(&pb.ReportRequest{Sample: sample()})
			b.wait(5 * time.Second)
		}
		q := b.smallestSync()
		b.wait(-9 * time.Second)
		next := [2]float64{off[0] + step[0], off[1] + step[1]}
		v := solveOf(q)
		v.Sky, v.ExposureStartTime, v.ExposureDuration = b.believing(at, next).GetBelief().GetSky(), timestamppb.New(b.clock().Add(-7*time.Second)), durationpb.New(time.Second)
		q.RequestId, q.SentTime, q.Sample = b.id("question"), timestamppb.New(b.clock()), sample()
		last = b.mustAsk(q)
		if last.GetJudgement().GetVerdict() != pb.Verdict_VERDICT_ALLOW {
			return done, off, last
		}
		off, syncs = next, syncs+1
		b.wait(time.Second)
		b.mustReport(&pb.ReportRequest{Sample: sample(), Event: &pb.ReportRequest_Synced{Synced: &pb.Synced{LeaveId: last.GetSyncLeave().GetLeaveId()}}})
	}
	return most, off, last
}

// Faults, row 75: fifty syncs, each below every limit for one, all one way, are stopped long before belief is off by the budget since homing:
// near the pole, where a step of axis 1 is little on the sky, since they are all off to one side; elsewhere since the pictures disagree by
// then with what the first of them taught.
func TestWalkOfSmallSyncsIsStopped(t *testing.T) {
	const seed = 75
	g := rand.New(rand.NewPCG(seed, 1))
	for name, c := range map[string]struct {
		at, way [2]float64
		rule    string
		says    string
	}{
		"axis 1 up near the pole":   {[2]float64{30, 6}, [2]float64{1, 0}, "sync/walk", "off to the same side"},
		"axis 1 down near the pole": {[2]float64{30, 6}, [2]float64{-1, 0}, "sync/walk", "off to the same side"},
		"axis 1 up":                 {[2]float64{30, 40}, [2]float64{1, 0}, "sync/expected", "from where it is expected"},
		"axis 2 up":                 {[2]float64{30, 40}, [2]float64{0, 1}, "sync/expected", "from where it is expected"},
		"axis 2 down":               {[2]float64{30, 40}, [2]float64{0, -1}, "sync/expected", "from where it is expected"},
	} {
		b := newBench(t)
		b.homedAt(b.sample(c.at[0], c.at[1]), c.at[0], c.at[1])
		b.proved()
		size := 0.12 + 0.08*g.Float64()
		done, off, last := b.walk(c.at, [2]float64{size * c.way[0], size * c.way[1]}, 50)
		require.Less(t, done, 50, "%s, %.3f°, seed %d: nothing stopped it", name, size, seed)
		assert.Greater(t, done, 1, "%s, %.3f°, seed %d: %s", name, size, seed, objections(last))
		assert.Equal(t, pb.Verdict_VERDICT_HOLD, last.GetJudgement().GetVerdict(), name)
		assert.Nil(t, last.GetSyncLeave(), name)
		f := findingOf(last, c.rule)
		assert.Equal(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), "%s, %.3f°: %d syncs, off by %.2f°; %s", name, size, done, off, objections(last))
		assert.Contains(t, f.GetSentence(), c.says, name)
		assert.NotEmpty(t, f.GetRemedy(), name)
		sine := math.Sin(c.at[1] * math.Pi / 180) // what a turn of axis 1 is worth on the sky
		assert.Less(t, math.Hypot(off[0]*sine, off[1]), 1.0, name)
	}
}
