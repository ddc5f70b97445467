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

// bodyBytes is what an ordinary slew takes, with snapshot, facts and answer.
const bodyBytes = 13 << 10

// BenchmarkDisk is the yardstick: the disk's own flush of one entry's bytes, written over a file that is there already.
func BenchmarkDisk(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	require.NoError(b, err)
	defer func() { _ = f.Close() }()
	buf := make([]byte, bodyBytes)
	_, err = f.Write(make([]byte, 4<<20))
	require.NoError(b, err)
	require.NoError(b, f.Sync())
	for i := 0; b.Loop(); i++ {
		_, err := f.WriteAt(buf, int64(i%512)*bodyBytes)
		require.NoError(b, err)
		require.NoError(b, syscall.Fdatasync(int(f.Fd())))
	}
}

// BenchmarkOneAsker appends and waits, one after the other.
func BenchmarkOneAsker(b *testing.B) {
	r := open(b, filepath.Join(b.TempDir(), "record"), record.Options{})
	n := 0
	for b.Loop() {
		n++
		d := draft("pier", n)
		d.Body = make([]byte, bodyBytes)
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
	n := 0
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
				d.Body = make([]byte, bodyBytes)
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
	n := 0
	for b.Loop() {
		n++
		d := draft("pier", n)
		d.Body = make([]byte, bodyBytes)
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(b, err)
		if n%1000 == 0 {
			require.NoError(b, w.Wait())
		}
	}
}
