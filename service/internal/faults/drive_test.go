package faults_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/store"
)

// onDrive opens a store on a disk in memory.
func onDrive(t *testing.T, d *faults.Drive, path string) (*store.Store, error) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	return store.Open(path, store.Options{Wrap: d.Wrap(path)})
}

// zeros is how many a log may begin with.
const zeros = 1280 << 10

// row is the n-th of a chain; its hash is its number.
func row(n uint64) store.Row {
	r := store.Row{Place: store.Place{Chain: "c", Number: n}, Head: make([]byte, 300), Body: make([]byte, 6000)}
	_, _ = rand.NewChaCha8([32]byte{}).Read(r.Body) // what the file cannot keep shorter
	r.Hash[0], r.Hash[1] = byte(n), byte(n>>8)
	r.Previous[0], r.Previous[1] = byte(n-1), byte((n-1)>>8)
	return r
}

func count(t *testing.T, s *store.Store) uint64 {
	t.Helper()
	heads, _, err := s.Heads(context.Background())
	require.NoError(t, err)
	if len(heads) == 0 {
		return 0
	}
	return heads[0].Number
}

// What was answered is there after a power cut, however little or much of the rest reached the disk; with a disk that lies about its
// syncs it is not, or the test proves nothing. Both where the log begins empty and where it begins with zeros.
func TestDriveKeepsWhatWasSynced(t *testing.T) {
	for _, c := range []struct{ lies, zeroed bool }{{false, false}, {true, false}, {false, true}, {true, true}} {
		lies, lost := c.lies, 0
		for seed := range uint64(18) {
			rng := rand.New(rand.NewPCG(seed, 1))
			d, err := faults.NewDrive()
			require.NoError(t, err)
			path := filepath.Join(t.TempDir(), "record")
			s, err := onDrive(t, d, path)
			require.NoError(t, err)
			if c.zeroed {
				require.True(t, d.Zero(path+"-wal", zeros))
			}
			ops, dieAt := 0, 20+rng.IntN(120)
			d.Fate = func(op faults.Op, _ string) faults.Fate {
				if op != faults.Reading {
					ops++
				}
				switch {
				case ops == dieAt:
					return faults.Dies
				case lies && op == faults.Syncing:
					return faults.Lies
				}
				return faults.Works
			}
			var answered uint64
			for n := uint64(1); n < 500 && s.Commit([]store.Row{row(n)}) == nil; n++ {
				answered = n
			}
			require.True(t, d.Dead())
			_ = s.Close()
			d.CutPower(rng, []float64{0, 0.5, 1}[seed%3], faults.Files(path))
			d.Start()
			d.Fate = nil
			s, err = onDrive(t, d, path)
			if !lies {
				require.NoError(t, err, "seed %d", seed)
				assert.GreaterOrEqual(t, count(t, s), answered, "seed %d", seed)
				assert.LessOrEqual(t, count(t, s), answered+1, "seed %d", seed)
			} else if err != nil || count(t, s) < answered {
				lost++
			}
			if s != nil {
				require.NoError(t, s.Close())
			}
			require.NoError(t, d.Close())
		}
		assert.Equal(t, lies, lost > 0, "a disk that lies about its syncs lost something in %d of 18", lost)
	}
}

// After a kill everything that was written is there; what the dead process does afterwards is not.
func TestDriveAfterAKill(t *testing.T) {
	d, err := faults.NewDrive()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "record")
	s, err := onDrive(t, d, path)
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row(1)}))
	d.Kill()
	require.Error(t, s.Commit([]store.Row{row(2)}))
	_ = s.Close()
	d.Start()
	s, err = onDrive(t, d, path)
	require.NoError(t, err)
	assert.EqualValues(t, 1, count(t, s))
	require.NoError(t, s.Commit([]store.Row{row(2)}))
	require.NoError(t, s.Close())
	require.NoError(t, d.Close())
}

// Each failure comes out of the store as one, and one that closes and opens again finds what was answered.
func TestDriveFails(t *testing.T) {
	for _, fate := range []faults.Fate{faults.Fails, faults.NoSpace} {
		for _, op := range []faults.Op{faults.Writing, faults.Syncing} {
			t.Run(fmt.Sprint(op, fate), func(t *testing.T) {
				d, err := faults.NewDrive()
				require.NoError(t, err)
				path := filepath.Join(t.TempDir(), "record")
				s, err := onDrive(t, d, path)
				require.NoError(t, err)
				require.NoError(t, s.Commit([]store.Row{row(1)}))
				d.Fate = func(o faults.Op, _ string) faults.Fate {
					if o == op {
						return fate
					}
					return faults.Works
				}
				err = s.Commit([]store.Row{row(2)})
				assert.True(t, errors.Is(err, store.ErrCommit), "%v", err)
				d.Fate = nil
				_ = s.Close()
				s, err = onDrive(t, d, path)
				require.NoError(t, err)
				n := count(t, s)
				assert.GreaterOrEqual(t, n, uint64(1))
				require.NoError(t, s.Commit([]store.Row{row(n + 1)}))
				require.NoError(t, s.Close())
				require.NoError(t, d.Close())
			})
		}
	}
}
