package store_test

import (
	"bytes"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
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

// TestMarksWaitForQuiet: while somebody waits entries go unmarked, up to 2,048 of them.
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
	commit(924)
	require.NoError(t, s.Tidy(busy))
	assert.Zero(t, marked())
	require.NoError(t, s.Tidy(quiet))
	assert.Equal(t, int64(1024), marked())
	commit(1024)
	calls := 0
	require.NoError(t, s.Tidy(func() bool { calls++; return calls > 2 }))
	assert.Equal(t, int64(1024+2*256), marked(), "who comes meanwhile waits for one step of 256")
	commit(2048 - 512)
	require.NoError(t, s.Tidy(busy))
	assert.Equal(t, int64(1536), marked())
	commit(1)
	require.NoError(t, s.Tidy(busy))
	assert.Equal(t, int64(1536+2048), marked(), "one more is too many: a long step")
	commit(4500)
	require.NoError(t, s.Tidy(busy))
	assert.Equal(t, int64(1536+3*2048), marked(), "in long steps, until no more than 2,048 are left")
	for _, n := range []uint64{1, 3000, at} {
		got, err := s.Get(t.Context(), "a", n)
		require.NoError(t, err)
		assert.Equal(t, int64(n), got.Sequence)
	}
}

// TestMarksOfWhatWasCommitted: who commits has the lists again, and may write over them before they are marked.
func TestMarksOfWhatWasCommitted(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "record"), store.Options{})
	rows := invented(1024)
	given := slices.Clone(rows)
	for i := range given {
		given[i].LeaveIDs, given[i].RuleIDs = slices.Clone(rows[i].LeaveIDs), slices.Clone(rows[i].RuleIDs)
	}
	require.NoError(t, s.Commit(given))
	for _, r := range given {
		for _, list := range [][]string{r.LeaveIDs, r.RuleIDs} {
			for i := range list {
				list[i] = "another"
			}
		}
	}
	require.NoError(t, s.Tidy(quiet))
	require.EqualValues(t, len(rows), marked(t, s))
	for _, r := range rows {
		ok, err := s.Indexed(t.Context(), int64(len(rows)), r)
		require.NoError(t, err)
		require.True(t, ok, r.Sequence)
	}
}

// TestMarkingBrokenOff fails the n-th operation on the disk as entries are marked and the log is moved, or ends the process there, n = 1, 2, … until
// there are fewer. After a power cut every committed entry is there and found by all that leads to it, and the store goes on.
func TestMarkingBrokenOff(t *testing.T) {
	for fate, name := range map[faults.Fate]string{faults.Fails: "I/O error", faults.NoSpace: "full", faults.DiesAt: "killed"} {
		t.Run(name, func(t *testing.T) {
			n, step := 1, 1
			for ; brokenOffMarking(t, fate, n); n += step {
				if n > 12 { // from there on page after page is written, each as the one before
					step = 29
				}
			}
			assert.Greater(t, n, 30, "the faults are met")
		})
	}
}

// zeros is how many a log begins with.
const zeros = 1280 << 10

// brokenOffMarking breaks the n-th operation, and tells whether there was one.
func brokenOffMarking(t *testing.T, fate faults.Fate, n int) (met bool) {
	t.Helper()
	d, err := faults.NewDrive()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "record")
	require.NoError(t, os.WriteFile(path, nil, 0o600)) // see Drive.Wrap
	s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err)
	require.True(t, d.Zero(path+"-wal", zeros))
	rows := invented(20)
	noise := rand.NewChaCha8([32]byte{1})
	for i := range rows { // so much that it is worth moving
		rows[i].Body = make([]byte, 60<<10)
		_, _ = noise.Read(rows[i].Body)
	}
	require.NoError(t, s.Commit(rows))
	count := 0
	d.Fate = func(faults.Op, string) faults.Fate {
		if count++; count != n {
			return faults.Works
		}
		met = true
		return fate
	}
	if err := s.Tidy(func() bool { return false }); met && !d.Dead() {
		require.ErrorIs(t, err, store.ErrUntidy, "operation %d", n)
		require.NotErrorIs(t, err, store.ErrCommit, "the rows are durable; operation %d", n)
		require.ErrorIs(t, s.Commit([]store.Row{row("b", 1)}), store.ErrCommit, "nothing more is taken")
	}
	d.CutPower(rand.New(rand.NewPCG(uint64(n), 2)), []float64{0, 0.5, 1}[n%3], faults.Files(path))
	_ = s.Close()
	d.Start()
	d.Fate = nil
	s, err = store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err, "operation %d", n)
	marked, err := s.Marked(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, len(rows), marked)
	for _, r := range rows {
		ok, err := s.Indexed(t.Context(), marked, r)
		require.NoError(t, err)
		require.True(t, ok, "operation %d, row %d", n, r.Sequence)
		got, err := s.Get(t.Context(), r.Chain, r.Number)
		require.NoError(t, err)
		require.True(t, bytes.Equal(r.Body, got.Body), "operation %d, row %d", n, r.Sequence)
	}
	got, err := s.Count(t.Context(), marked, marked)
	require.NoError(t, err)
	assert.Equal(t, store.Counts{Entries: 20, Marks: 20, Leaves: 26, Rules: 8}, got)
	require.NoError(t, s.Commit([]store.Row{row("b", 1)}))
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
	return met
}

// onDrive makes a store on a disk in memory, where whoever waits for a lock does so in no time, with one row of so many bytes; and another program's
// connection to it.
func onDrive(t *testing.T, bytes int) (d *faults.Drive, path string, s *store.Store, shell *sql.DB) {
	t.Helper()
	d, err := faults.NewDrive()
	require.NoError(t, err)
	path = filepath.Join(t.TempDir(), "record")
	require.NoError(t, os.WriteFile(path, nil, 0o600)) // see Drive.Wrap
	s, err = store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err)
	require.True(t, d.Zero(path+"-wal", zeros))
	first := row("a", 1)
	first.Body = make([]byte, bytes)
	_, _ = rand.NewChaCha8([32]byte{1}).Read(first.Body)
	require.NoError(t, s.Commit([]store.Row{first}))
	shell = sql.OpenDB(d.Wrap(path)(nil))
	shell.SetMaxOpenConns(1)
	return d, path, s, shell
}

func quiet() bool { return false }

func marked(t *testing.T, s *store.Store) int64 {
	t.Helper()
	n, err := s.Marked(t.Context())
	require.NoError(t, err)
	return n
}

// TestMarksWaitForAnothersLock: while another program has the write lock, marks wait, and nothing fails for it; at the end they are left to who opens the
// record next.
func TestMarksWaitForAnothersLock(t *testing.T) {
	d, path, s, shell := onDrive(t, 2<<20)
	hold := func() {
		_, err := shell.Exec("BEGIN IMMEDIATE")
		require.NoError(t, err)
	}
	release := func() {
		_, err := shell.Exec("ROLLBACK")
		require.NoError(t, err)
	}
	hold()
	require.NoError(t, s.Tidy(quiet))
	assert.Zero(t, marked(t, s))
	release()
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
	require.NoError(t, s.Tidy(quiet))
	assert.EqualValues(t, 2, marked(t, s), "the next time")
	require.NoError(t, s.Commit([]store.Row{row("a", 3)}))
	hold()
	require.NoError(t, s.Close())
	release()
	require.NoError(t, shell.Close())
	s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err)
	assert.EqualValues(t, 3, marked(t, s))
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
}

// TestLogMovedByAnother: while another program moves the log, this one leaves it to it, and moves what came since the next time.
func TestLogMovedByAnother(t *testing.T) {
	d, path, s, shell := onDrive(t, 2<<20)
	begun, goOn := make(chan struct{}), make(chan struct{})
	var once sync.Once
	d.Fate = func(op faults.Op, file string) faults.Fate {
		if op == faults.Writing && file == path {
			once.Do(func() { close(begun); <-goOn })
		}
		return faults.Works
	}
	moved := make(chan error)
	go func() {
		_, err := shell.Exec("PRAGMA wal_checkpoint(PASSIVE)")
		moved <- err
	}()
	<-begun
	require.NoError(t, s.Tidy(quiet))
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
	close(goOn)
	require.NoError(t, <-moved)
	require.NoError(t, shell.Close())
	writes := 0
	d.Fate = func(op faults.Op, file string) faults.Fate {
		if op == faults.Writing && file == path {
			writes++
		}
		return faults.Works
	}
	require.NoError(t, s.Tidy(quiet))
	assert.Positive(t, writes)
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
}

// TestLogIsMovedBeforeItIsWrittenTo: what opens after a crash moves what the log holds before it marks what has no mark.
func TestLogIsMovedBeforeItIsWrittenTo(t *testing.T) {
	d, path, s, shell := onDrive(t, 100)
	require.NoError(t, shell.Close())
	d.Kill()
	_ = s.Close()
	d.Start()
	var written []string
	d.Fate = func(op faults.Op, file string) faults.Fate {
		if suffix := strings.TrimPrefix(file, path); op == faults.Writing && suffix != "-shm" {
			written = append(written, suffix)
		}
		return faults.Works
	}
	s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err)
	assert.Equal(t, []string{"", "-wal", ""}, slices.Compact(written), "the log into the record, the mark, and that into the record")
	assert.EqualValues(t, 1, marked(t, s))
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
}

// TestMarksCountInTheLog: what marks write to the log has it moved while somebody waits, not what the entries wrote alone.
func TestMarksCountInTheLog(t *testing.T) {
	d, path, s, shell := onDrive(t, 100)
	require.NoError(t, shell.Close())
	moved := false
	d.Fate = func(op faults.Op, file string) faults.Fate {
		moved = moved || op == faults.Writing && file == path
		return faults.Works
	}
	busy := func() bool { return true }
	commit := func(from, count uint64) {
		rows := make([]store.Row, count)
		for i := range rows {
			rows[i] = row("a", from+uint64(i))
			for k := range 60 {
				rows[i].LeaveIDs = append(rows[i].LeaveIDs, fmt.Sprintf("a leave of some length, number %d of entry %d", k, rows[i].Number))
			}
		}
		require.NoError(t, s.Commit(rows))
	}
	commit(2, 2047)
	require.NoError(t, s.Tidy(busy))
	assert.False(t, moved)
	commit(2049, 1)
	require.NoError(t, s.Tidy(busy))
	assert.EqualValues(t, 2048, marked(t, s))
	assert.True(t, moved)
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
}
