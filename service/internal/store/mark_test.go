package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// invented makes rows of three chains whose every column takes a few values, each in an order of its own.
func invented(count int) (out []store.Row) {
	numbers := map[string]uint64{}
	for i := range count {
		chain := fmt.Sprint("chain-", i%3)
		numbers[chain]++
		r := row(chain, numbers[chain])
		r.TimeNanos, r.Kind, r.Rig = int64(1000*((i*7)%count)), fmt.Sprint("kind-", i%4), fmt.Sprint("rig-", i%5)
		r.Verdict, r.State, r.Sequence = fmt.Sprint("verdict-", i%2), i%6 == 5, int64(i+1)
		r.LeaveIDs, r.RuleIDs = nil, nil
		if i%3 > 0 {
			r.LeaveIDs = []string{fmt.Sprint("leave-", i), fmt.Sprintf(`with "quotes" and ü %d`, i)}
		}
		if i%5 == 0 {
			r.RuleIDs = []string{"area/one", fmt.Sprint("area/", i%4)}
		}
		if i%7 == 0 {
			r.RequestID = ""
		}
		r.Head = []byte(fmt.Sprint("head ", i))
		out = append(out, r)
	}
	return out
}

// split makes a record of which so many rows have their marks, and the rest none; and a copy of it as a kill leaves it.
func split(t *testing.T, rows []store.Row, marked int) (live, killed string) {
	t.Helper()
	live, killed = filepath.Join(t.TempDir(), "record"), filepath.Join(t.TempDir(), "record")
	s, err := store.Open(live, store.Options{})
	require.NoError(t, err)
	if marked > 0 {
		require.NoError(t, s.Commit(slices.Clone(rows[:marked])))
	}
	require.NoError(t, s.Close())
	s = open(t, live, store.Options{})
	if marked < len(rows) {
		require.NoError(t, s.Commit(slices.Clone(rows[marked:])))
	}
	for _, side := range []string{"", "-wal"} {
		raw, err := os.ReadFile(live + side)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(killed+side, raw, 0o600))
	}
	got, err := s.Marked(t.Context())
	require.NoError(t, err)
	require.Equal(t, int64(marked), got)
	holds(t, s, rows)
	return live, killed
}

// TestFoundHoweverFarMarked: whatever of the rows has its marks already, each way of reading finds what it should, by who writes, by who
// only reads beside it, by who only reads what a kill left, and by the next service.
func TestFoundHoweverFarMarked(t *testing.T) {
	rows := invented(40)
	for _, marked := range []int{0, 1, 17, 39, 40} {
		t.Run(fmt.Sprint(marked), func(t *testing.T) {
			live, killed := split(t, rows, marked)
			holds(t, open(t, live, store.Options{ReadOnly: true}), rows)
			before, err := os.ReadFile(killed)
			require.NoError(t, err)
			s, err := store.Open(killed, store.Options{ReadOnly: true})
			require.NoError(t, err)
			holds(t, s, rows)
			require.NoError(t, s.Close())
			after, err := os.ReadFile(killed)
			require.NoError(t, err)
			assert.Equal(t, before, after)
			s = open(t, killed, store.Options{})
			got, err := s.Marked(t.Context())
			require.NoError(t, err)
			assert.Equal(t, int64(len(rows)), got, "the next marks all")
			holds(t, s, rows)
		})
	}
}

// holds holds each way of reading against a plain search through the rows.
func holds(t *testing.T, s *store.Store, rows []store.Row) {
	t.Helper()
	ctx := t.Context()
	heads, newest, err := s.Heads(ctx)
	require.NoError(t, err)
	assert.Equal(t, rows[len(rows)-1].Sequence, newest)
	wanted, states := map[string]store.Place{}, map[string]uint64{}
	for _, r := range rows {
		wanted[r.Chain] = r.Place
		if r.State {
			states[r.Chain] = r.Number
		}
		got, err := s.Get(ctx, r.Chain, r.Number)
		require.NoError(t, err)
		require.Equal(t, r.Sequence, got.Sequence)
		require.Equal(t, "body", string(got.Body))
		if r.RequestID != "" {
			got, err = s.ByRequest(ctx, r.RequestID)
			require.NoError(t, err)
			require.Equal(t, r.Sequence, got.Sequence)
		}
		for _, id := range r.LeaveIDs {
			got, err = s.ByLeave(ctx, id)
			require.NoError(t, err, id)
			require.Equal(t, r.Sequence, got.Sequence)
		}
	}
	for _, h := range heads {
		assert.Equal(t, wanted[h.Chain], h)
		state, err := s.LastState(ctx, h.Chain)
		require.NoError(t, err)
		assert.Equal(t, states[h.Chain], state)
		for from := uint64(1); from <= h.Number+1; from++ {
			for _, limit := range []int{1, 5, 100} {
				assert.Equal(t, fitting(rows, limit, func(r store.Row) bool { return r.Chain == h.Chain && r.Number >= from }),
					sequences(t, s.Run(ctx, h.Chain, from, limit)), "%s from %d", h.Chain, from)
			}
		}
	}
	assert.Len(t, heads, len(wanted))
	for name, err := range map[string]error{"place": second(s.Get(ctx, "chain-0", 99)), "request": second(s.ByRequest(ctx, "none")), "no request": second(s.ByRequest(ctx, "")),
		"leave": second(s.ByLeave(ctx, "none"))} {
		assert.ErrorIs(t, err, store.ErrAbsent, name)
	}
	lists(t, s, rows)
}

func second(_ store.Row, err error) error { return err }

// lists asks for pages of all kinds.
func lists(t *testing.T, s *store.Store, rows []store.Row) {
	t.Helper()
	in := func(list []string, one string) bool { return len(list) == 0 || slices.Contains(list, one) }
	for _, f := range []store.Filter{
		{}, {Chains: []string{"chain-1"}}, {Chains: []string{"chain-0", "chain-2"}}, {Rigs: []string{"rig-3"}}, {Kinds: []string{"kind-2", "kind-0"}},
		{Verdicts: []string{"verdict-1"}}, {RuleIDs: []string{"area/one"}}, {RuleIDs: []string{"area/2", "area/3"}}, {From: time.Unix(0, 9000)},
		{Before: time.Unix(0, 30000)}, {From: time.Unix(0, 5000), Before: time.Unix(0, 25000), Rigs: []string{"rig-0", "rig-1"}, RuleIDs: []string{"area/one"}},
		{Rigs: []string{"none"}},
	} {
		for _, p := range []store.Page{{Limit: 100}, {Limit: 3}, {Limit: 100, OldestFirst: true}, {Limit: 4, OldestFirst: true, Above: 12}, {Limit: 100, Above: 38},
			{Limit: 4, Below: 20, Bodies: true}, {Limit: 100, Below: 3, OldestFirst: true}} {
			fits := func(r store.Row) bool {
				return in(f.Chains, r.Chain) && in(f.Rigs, r.Rig) && in(f.Kinds, r.Kind) && in(f.Verdicts, r.Verdict) &&
					(len(f.RuleIDs) == 0 || slices.ContainsFunc(r.RuleIDs, func(id string) bool { return slices.Contains(f.RuleIDs, id) })) &&
					(f.From.IsZero() || r.TimeNanos >= f.From.UnixNano()) && (f.Before.IsZero() || r.TimeNanos < f.Before.UnixNano()) &&
					r.Sequence > p.Above && (p.Below == 0 || r.Sequence < p.Below)
			}
			from := slices.Clone(rows)
			if !p.OldestFirst {
				slices.Reverse(from)
			}
			assert.Equal(t, fitting(from, p.Limit, fits), sequences(t, s.List(t.Context(), f, p)), "%+v %+v", f, p)
		}
	}
}

func fitting(rows []store.Row, limit int, fits func(store.Row) bool) (out []int64) {
	for _, r := range rows {
		if fits(r) && len(out) < limit {
			out = append(out, r.Sequence)
		}
	}
	return out
}

func sequences(t *testing.T, rows func(func(store.Row, error) bool)) (out []int64) {
	t.Helper()
	for r, err := range rows {
		require.NoError(t, err)
		out = append(out, r.Sequence)
	}
	return out
}

// TestMarksWaitForQuiet: while somebody waits entries go unmarked, up to 4,096 of them.
func TestMarksWaitForQuiet(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "record"), store.Options{})
	marked := func() int64 {
		n, err := s.Marked(t.Context())
		require.NoError(t, err)
		return n
	}
	busy := func() bool { return true }
	quiet := func() bool { return false }
	at := uint64(0)
	commit := func(count int) {
		var rows []store.Row
		for range count {
			at++
			rows = append(rows, row("a", at))
		}
		require.NoError(t, s.Commit(rows))
	}
	commit(100)
	require.NoError(t, s.Tidy(quiet))
	assert.Zero(t, marked(), "so little is not worth a sync")
	commit(1000)
	require.NoError(t, s.Tidy(busy))
	assert.Zero(t, marked())
	require.NoError(t, s.Tidy(quiet))
	assert.Equal(t, int64(1100), marked())
	commit(4096)
	require.NoError(t, s.Tidy(busy))
	assert.Equal(t, int64(1100), marked())
	commit(1100)
	require.NoError(t, s.Tidy(busy))
	assert.Equal(t, int64(1100+5*256), marked(), "in steps of 256, until 4,096 are left")
	commit(1100)
	calls := 0
	require.NoError(t, s.Tidy(func() bool { calls++; return calls > 6 }))
	assert.Equal(t, int64(1100+15*256), marked(), "who comes meanwhile waits for one step")
	for _, n := range []uint64{1, 3000, at} {
		got, err := s.Get(t.Context(), "a", n)
		require.NoError(t, err)
		assert.Equal(t, int64(n), got.Sequence)
	}
}
