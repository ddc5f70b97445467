package store_test

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/store"
)

// found is what a store that opens may find on its disk, with how many rows were answered from it.
type found struct {
	name string
	rows uint64
	make func(t *testing.T, d *faults.Drive, path string)
}

func foundAtOpening() []found {
	one := func(t *testing.T, d *faults.Drive, path string) *store.Store {
		s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
		require.NoError(t, err)
		require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
		return s
	}
	return []found{
		{"nothing", 0, func(*testing.T, *faults.Drive, string) {}},
		{"a log to recover", 1, func(t *testing.T, d *faults.Drive, path string) {
			s := one(t, d, path)
			d.Kill()
			_ = s.Close()
			d.Start()
		}},
		{"a log to recover that began as zeros", 1, func(t *testing.T, d *faults.Drive, path string) {
			s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
			require.NoError(t, err)
			require.True(t, d.Zero(path+"-wal", zeros))
			require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
			d.Kill()
			_ = s.Close()
			d.Start()
		}},
		{"a record without a log", 1, func(t *testing.T, d *faults.Drive, path string) {
			require.NoError(t, one(t, d, path).Close())
			db := sql.OpenDB(d.Wrap(path)(nil))
			_, err := db.Exec("PRAGMA journal_mode=DELETE")
			require.NoError(t, err)
			require.NoError(t, db.Close())
		}},
	}
}

// TestOpensWithALogOrNotAtAll fails the n-th operation on the disk as a store opens, or ends the process there, n = 1, 2, … until it has fewer:
// it is refused, or what it then commits goes to the log and to no rollback journal; and after a power cut it opens again with nothing
// wrong and holds all that was answered.
func TestOpensWithALogOrNotAtAll(t *testing.T) {
	for _, f := range foundAtOpening() {
		for fate, name := range map[faults.Fate]string{faults.Fails: "I/O error", faults.NoSpace: "full", faults.DiesAt: "killed"} {
			t.Run(f.name+"/"+name, func(t *testing.T) {
				refused, n := 0, 1
				for ; ; n++ {
					met, opened := openedUnder(t, f, fate, n)
					if !met {
						break
					}
					if !opened {
						refused++
					}
				}
				assert.Greater(t, n, 10, "the faults are met")
				assert.Greater(t, refused, n/3, "they are told")
			})
		}
	}
}

// openedUnder opens a store whose n-th operation meets a fate, commits if it can, cuts the power, and opens it again with nothing wrong.
func openedUnder(t *testing.T, f found, fate faults.Fate, n int) (met, opened bool) {
	t.Helper()
	d, err := faults.NewDrive()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "record")
	require.NoError(t, os.WriteFile(path, nil, 0o600)) // see Drive.Wrap
	f.make(t, d, path)
	count, what, answered := 0, "", f.rows
	d.Fate = func(op faults.Op, file string) faults.Fate {
		if count++; count != n {
			return faults.Works
		}
		what = fmt.Sprintf("%s, operation %d: %s of %q", f.name, n, op, strings.TrimPrefix(file, path))
		return fate
	}
	s, err := store.Open(path, store.Options{Wrap: d.Wrap(path)})
	if opened = err == nil && !d.Dead(); opened {
		written := map[string]bool{}
		d.Fate = func(op faults.Op, file string) faults.Fate {
			if op == faults.Writing {
				written[strings.TrimPrefix(file, path)] = true
			}
			return faults.Works
		}
		require.NoError(t, s.Commit([]store.Row{row("a", answered+1)}), what)
		answered++
		assert.Equal(t, map[string]bool{"-wal": true}, written, "what a commit writes to; %s", what)
	}
	assert.NotErrorIs(t, err, store.ErrUnsafe, "the disk is at fault, not where the record is kept; %s", what)
	d.CutPower(rand.New(rand.NewPCG(uint64(n), 1)), []float64{0, 0.5, 1}[n%3], faults.Files(path))
	if s != nil {
		_ = s.Close()
	}
	d.Start()
	d.Fate = nil
	s, err = store.Open(path, store.Options{Wrap: d.Wrap(path)})
	require.NoError(t, err, what)
	newest, err := s.Newest(t.Context())
	require.NoError(t, err, what)
	assert.EqualValues(t, answered, newest, what)
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
	return what != "", opened
}
