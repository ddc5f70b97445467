package rpc_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/timescale"
)

// factOf returns a fact of an answer.
func factOf(t *testing.T, out *pb.AskResponse, name string) *pb.Fact {
	t.Helper()
	for _, f := range out.GetJudgement().GetFacts() {
		if f.GetName() == name {
			return f
		}
	}
	require.Fail(t, "no fact "+name)
	return nil
}

// Faults, row 14: asked every 0.1 s across a leap second, by a clock that reads :59 twice and by one that is smeared from noon to noon.
// Every answer says by how much the reading may be off; no id, no number and no hash of the record comes twice.
func TestAskedAcrossALeapSecond(t *testing.T) {
	midnight := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	leaps := append(timescale.BuiltIn().Leaps(), timescale.Leap{From: midnight, TAIMinusUTC: 38}) // invented
	table, err := timescale.NewTable(midnight.AddDate(0, -6, 0), midnight.AddDate(0, 6, 0), leaps)
	require.NoError(t, err)
	first, err := timescale.New(midnight.Add(-2*time.Second), table) // 23:59:58: the leap second begins 2 s later
	require.NoError(t, err)
	for name, reads := range map[string]func(since time.Duration) time.Time{
		"repeats :59": func(d time.Duration) time.Time {
			if d >= 2*time.Second {
				d -= time.Second
			}
			return midnight.Add(d - 2*time.Second)
		},
		"smeared": func(d time.Duration) time.Time { return midnight.Add(d - 2500*time.Millisecond) },
	} {
		b := newBench(t)
		b.tables, b.now = table, midnight.Add(-3*time.Second)
		b.ready()
		ids, hashes, last, permit := map[string]bool{}, map[string]bool{}, uint64(0), ""
		for d := time.Duration(0); d < 4*time.Second; d += 100 * time.Millisecond {
			b.mu.Lock()
			b.now = reads(d)
			b.mu.Unlock()
			q := b.slew(30, 40)
			q.WithFacts, q.ReplacesPermitId = true, permit
			out := b.mustAsk(q)
			read, err := timescale.New(reads(d), table)
			require.NoError(t, err)
			off, bound := read.Sub(first.Add(d)).Abs().Seconds(), factOf(t, out, "leap_second_bound_s").GetNumber()
			assert.LessOrEqual(t, off, bound+1e-9, "%s, %s: by so much the reading is off", name, d)
			assert.LessOrEqual(t, bound, 1.0, "%s, %s", name, d)
			assert.InDelta(t, 0.9, factOf(t, out, "ut1_bound_s").GetNumber(), 1e-9, "%s, %s", name, d)
			assert.Greater(t, out.GetReceipt().GetNumber(), last, "%s, %s", name, d)
			assert.False(t, hashes[string(out.GetReceipt().GetEntrySha256())], "%s, %s: a hash twice", name, d)
			last, hashes[string(out.GetReceipt().GetEntrySha256())] = out.GetReceipt().GetNumber(), true
			require.Equal(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), "%s, %s: %s", name, d, objections(out))
			p := out.GetPermit().GetPermitId()
			assert.False(t, ids[p], "%s, %s: permit id %s twice", name, d, p)
			ids[p], permit = true, p
		}
		res, err := b.verified(&pb.VerifyRecordRequest{})
		require.NoError(t, err)
		assert.True(t, res.GetWhole(), name)
	}
	b := newBench(t)
	b.tables, b.now = table, midnight.Add(-6*time.Hour)
	b.ready()
	q := b.slew(30, 40)
	q.WithFacts = true
	f := factOf(t, b.allowed(q), "leap_second_bound_s")
	assert.InDelta(t, 0.5, f.GetNumber(), 0, "a smear from noon to noon: 7.5 arcseconds")
	assert.Contains(t, strings.Join(f.GetAbout(), " "), "spread it over a day")
}

// Faults, row 15: a table past its end answers, and says its age and what that may cost.
func TestOldLeapTableAnswersWithItsAge(t *testing.T) {
	first := timescale.BuiltIn().Leaps()
	old, err := timescale.NewTable(time.Date(2012, 1, 5, 0, 0, 0, 0, time.UTC), time.Date(2012, 12, 28, 0, 0, 0, 0, time.UTC), first[:26])
	require.NoError(t, err)
	lastYears, err := timescale.NewTable(time.Date(2025, 7, 7, 0, 0, 0, 0, time.UTC), time.Date(2026, 6, 28, 0, 0, 0, 0, time.UTC), first)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		table timescale.Table
		days  float64
		says  string
	}{
		"ended in June": {lastYears, 495.75, "the table ended on 2026-06-28: the Sun may stand 0.04″ off"},
		"of 2012":       {old, 5427.75, "the table ended on 2012-12-28: the Sun may stand 1.15″ off"}, // 28 half years × 3548880″/86400/365.25
	} {
		b := newBench(t)
		b.tables = c.table
		b.ready()
		q := b.slew(30, 40)
		q.WithFacts = true
		f := factOf(t, b.allowed(q), "leap_table_age_days")
		assert.InDelta(t, c.days, f.GetNumber(), 0.01, name)
		assert.Equal(t, []string{c.says}, f.GetAbout(), name)
	}
	b := newBench(t)
	good, err := timescale.NewTable(evening.AddDate(0, 0, -10), evening.AddDate(0, 6, 0), first)
	require.NoError(t, err)
	b.tables = good
	b.ready()
	q := b.slew(30, 40)
	q.WithFacts = true
	f := factOf(t, b.allowed(q), "leap_table_age_days")
	assert.InDelta(t, 10, f.GetNumber(), 0.01)
	assert.Empty(t, f.GetAbout(), "one that still speaks costs nothing")
}

// Faults, row 17: a clock of 1970 or 2106, as a board without a battery has it: every kind of question is a hold that names the years that
// the sky is good for and what would help; nothing is taken for an ordinary answer.
func TestClockOutsideTheYearsOfTheSkyHolds(t *testing.T) {
	for _, now := range []time.Time{time.Unix(0, 0).UTC().Add(time.Hour), time.Date(2106, 2, 7, 6, 28, 15, 0, time.UTC)} {
		b := newBench(t)
		b.ready()
		r := map[string]*pb.AskRequest{"slew by axes": b.slew(30, 40), "retreat": b.slew(0, 0), "slew by sky": b.skySlew(), "sync": b.smallestSync()}
		for name, a := range map[string]*pb.Action{
			"track": {Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(time.Hour)}}}},
			"home":  {Kind: &pb.Action_Home{Home: &pb.Home{}}},
			"flip":  {Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(0)}}},
		} {
			r[name] = b.slew(30, 40)
			r[name].Action = a
		}
		b.mu.Lock()
		b.now = now
		b.mu.Unlock()
		for name, q := range r {
			q.SentTime, q.Sample.Time = timestamppb.New(now), timestamppb.New(now)
			if v := solveOf(q); v != nil {
				v.ExposureStartTime = timestamppb.New(now.Add(-2 * time.Second))
			}
			out, err := b.motion.Ask(t.Context(), q)
			require.NoError(t, err, "%s at %s", name, now)
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), "%s at %s", name, now)
			assert.Nil(t, out.GetLeave(), "%s at %s", name, now)
			assert.Contains(t, objections(out), "outside 1990 to 2050", "%s at %s", name, now)
			assert.True(t, slices.ContainsFunc(out.GetJudgement().GetNeeds(), func(n *pb.Need) bool { return n.GetKind() == pb.NeedKind_NEED_KIND_CLOCK }), "%s at %s: %s", name, now, out.GetJudgement().GetNeeds())
		}
	}
}
