package record_test

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
)

// How long each is measured.
const (
	besideSingles = 600
	besideSpan    = 3 * time.Second
	besideAskers  = 64
	bareRow       = 3900 // bytes of such a row as the file keeps it, columns, head and packed body
)

// BenchmarkBesideDisk holds the record beside the disk's own flush of the same bytes and beside a bare SQLite that keeps as many packed bytes in a
// table without an index, in one run, turn by turn: what of a commit is ours, what the engine's, what the disk's. TMPDIR must not be in memory.
//
//	go test -run xxx -bench BesideDisk -benchtime 1x ./service/internal/record
func BenchmarkBesideDisk(b *testing.B) {
	for b.Loop() {
		dir := b.TempDir()
		body := slew(b)
		r := open(b, filepath.Join(dir, "record"), record.Options{})
		sqlite := newBare(b, filepath.Join(dir, "bare"))
		f, err := os.Create(filepath.Join(dir, "raw"))
		require.NoError(b, err)
		_, err = f.Write(make([]byte, 4<<20))
		require.NoError(b, err)
		require.NoError(b, f.Sync())
		keep := func(chain string, n int) error {
			d := draft(chain, n)
			d.Body, d.Awaited = body, true
			w, err := r.Append(d, r.Head(chain))
			if err != nil {
				return err
			}
			return w.Wait()
		}
		var disk, bare, single []time.Duration
		for n := range besideSingles {
			single = append(single, took(b, func() error { return keep("pier", n+1) }))
			disk = append(disk, took(b, func() error {
				if _, err := f.WriteAt(body, int64(n%(4<<20/len(body))*len(body))); err != nil {
					return err
				}
				return syscall.Fdatasync(int(f.Fd()))
			}))
			bare = append(bare, took(b, func() error { return sqlite.keep(1) }))
		}
		many, cpu := waiting(b, keep)
		began, rows := time.Now(), 0
		for ; time.Since(began) < besideSpan; rows += besideAskers {
			require.NoError(b, sqlite.keep(besideAskers))
		}
		engine := float64(rows) / time.Since(began).Seconds()
		fmt.Printf("entry %d bytes; of the disk's flush %v: a commit %v, %.2f; bare SQLite %v, %.2f\n", len(body), median(disk),
			median(single), ratio(single, disk), median(bare), ratio(bare, disk))
		fmt.Printf("64 waiting, of the single rate: %.0f rows a second, %.2f (%v processor time a row); bare SQLite %.0f, %.2f\n", many,
			many*median(single).Seconds(), cpu, engine, engine*median(bare).Seconds())
		require.NoError(b, r.Close())
	}
}

func took(b *testing.B, do func() error) time.Duration {
	began := time.Now()
	require.NoError(b, do())
	return time.Since(began)
}

func median(d []time.Duration) time.Duration { return slices.Sorted(slices.Values(d))[len(d)/2] }

func ratio(a, of []time.Duration) float64 { return float64(median(a)) / float64(median(of)) }

// waiting is how many rows a second 64 askers get written who each wait for theirs, and what processor time a row takes.
func waiting(b *testing.B, keep func(string, int) error) (rate float64, cpu time.Duration) {
	var all sync.WaitGroup
	counts, began, before := make([]int, besideAskers), time.Now(), used(b)
	for i := range besideAskers {
		all.Go(func() {
			for n := 1; time.Since(began) < besideSpan && keep(fmt.Sprintf("rig-%02d", i), 1_000_000*(i+1)+n) == nil; n++ {
				counts[i] = n
			}
		})
	}
	all.Wait()
	sum := 0
	for _, n := range counts {
		sum += n
	}
	return float64(sum) / time.Since(began).Seconds(), (used(b) - before) / time.Duration(max(1, sum))
}

func used(b *testing.B) time.Duration {
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// bare is SQLite with the record's settings and one table.
type bare struct {
	conn            *sql.Conn
	begin, row, end *sql.Stmt
	head, body      []byte
	logged          int
}

func newBare(b *testing.B, path string) *bare {
	db, err := sql.Open("sqlite", path)
	require.NoError(b, err)
	b.Cleanup(func() { _ = db.Close() })
	ctx := context.Background()
	s := &bare{head: make([]byte, 600), body: make([]byte, bareRow-600)}
	_, _ = rand.Read(s.body)
	s.conn, err = db.Conn(ctx)
	require.NoError(b, err)
	for _, q := range []string{"PRAGMA journal_mode=WAL", "PRAGMA synchronous=2", "PRAGMA wal_autocheckpoint=0",
		"CREATE TABLE e (s INTEGER PRIMARY KEY, a TEXT, b TEXT, c INTEGER, h BLOB, x BLOB)", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		_, err := s.conn.ExecContext(ctx, q)
		require.NoError(b, err, q)
	}
	log, err := os.OpenFile(path+"-wal", os.O_WRONLY, 0)
	require.NoError(b, err)
	_, err = log.WriteAt(make([]byte, 5<<20), 0)
	require.NoError(b, err)
	require.NoError(b, log.Sync())
	require.NoError(b, log.Close())
	for q, to := range map[string]**sql.Stmt{"BEGIN IMMEDIATE": &s.begin, "COMMIT": &s.end, "INSERT INTO e (a, b, c, h, x) VALUES (?,?,?,?,?)": &s.row} {
		*to, err = s.conn.PrepareContext(ctx, q)
		require.NoError(b, err)
	}
	return s
}

func (s *bare) keep(rows int) error {
	ctx := context.Background()
	if _, err := s.begin.ExecContext(ctx); err != nil {
		return err
	}
	for range rows {
		if _, err := s.row.ExecContext(ctx, "rig-00", "abcdefghijklmnop", rows, s.head, s.body); err != nil {
			return err
		}
	}
	if _, err := s.end.ExecContext(ctx); err != nil {
		return err
	}
	if s.logged += rows * 8 << 10; s.logged > 4<<20 {
		s.logged = 0
		_, err := s.conn.ExecContext(ctx, "PRAGMA wal_checkpoint(PASSIVE)")
		return err
	}
	return nil
}
