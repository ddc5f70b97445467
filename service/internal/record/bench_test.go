package record_test

import (
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
)

// slew is the body of an ordinary slew, with snapshot, facts and answer.
func slew(b *testing.B) []byte { return rows(b, version1(b), "rig-00")[1].Body }

// BenchmarkDisk is the yardstick: the disk's own flush of one entry's bytes, written over a file that is there already.
func BenchmarkDisk(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	require.NoError(b, err)
	defer func() { _ = f.Close() }()
	buf := slew(b)
	_, err = f.Write(make([]byte, 4<<20))
	require.NoError(b, err)
	require.NoError(b, f.Sync())
	for i := 0; b.Loop(); i++ {
		_, err := f.WriteAt(buf, int64(i%(4<<20/len(buf))*len(buf)))
		require.NoError(b, err)
		require.NoError(b, syscall.Fdatasync(int(f.Fd())))
	}
}

// BenchmarkOneAsker appends and waits, one after the other.
func BenchmarkOneAsker(b *testing.B) {
	r := open(b, filepath.Join(b.TempDir(), "record"), record.Options{})
	n, body := 0, slew(b)
	for b.Loop() {
		n++
		d := draft("pier", n)
		d.Body = body
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(b, err)
		require.NoError(b, w.Wait())
	}
}

// BenchmarkWaitingAskers is 64 askers on four chains, each waiting for its own entry; one operation is one entry.
func BenchmarkWaitingAskers(b *testing.B) {
	r := open(b, filepath.Join(b.TempDir(), "record"), record.Options{})
	const askers = 64
	turns := map[string]*sync.Mutex{}
	chains := []string{"a", "b", "c", "d"}
	for _, c := range chains {
		turns[c] = &sync.Mutex{}
	}
	var mu sync.Mutex
	n, body := 0, slew(b)
	b.ResetTimer()
	var wg sync.WaitGroup
	for i := range askers {
		chain := chains[i%len(chains)]
		wg.Go(func() {
			for {
				mu.Lock()
				n++
				mine := n
				mu.Unlock()
				if mine > b.N {
					return
				}
				d := draft(chain, mine)
				d.Body = body
				turns[chain].Lock() // a group's turn
				w, err := r.Append(d, r.Head(chain))
				turns[chain].Unlock()
				if err != nil || w.Wait() != nil {
					b.Error("not recorded")
					return
				}
			}
		})
	}
	wg.Wait()
}

// BenchmarkAppend is an append without the wait: what an asker spends inside its group's turn.
func BenchmarkAppend(b *testing.B) {
	r := open(b, newPath(b), record.Options{})
	n, body := 0, slew(b)
	for b.Loop() {
		n++
		d := draft("pier", n)
		d.Body = body
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(b, err)
		if n%1000 == 0 {
			require.NoError(b, w.Wait())
		}
	}
}
