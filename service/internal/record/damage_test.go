package record_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// wholeFile makes a closed record of n entries and returns its path, bytes and entries.
func wholeFile(t *testing.T, n int) (string, []byte, []record.Entry) {
	t.Helper()
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	written := write(t, r, "pier", numbers(n)...)
	require.NoError(t, r.Close())
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	return path, file, written
}

// TestEachBitOfAnEntry flips a bit in every byte of one entry: verify names that entry and no other.
func TestEachBitOfAnEntry(t *testing.T) {
	path, file, written := wholeFile(t, 9)
	target := written[4]
	at := bytes.Index(file, target.Stored)
	require.Positive(t, at, "the entry's bytes stand in the file as they are")
	for i := range target.Stored {
		damaged := bytes.Clone(file)
		damaged[at+i] ^= 1 << (i % 8)
		require.NoError(t, os.WriteFile(path, damaged, 0o600))
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
		require.NoError(t, err)
		require.False(t, res.Whole, "byte %d of the entry", i)
		require.NotNil(t, res.FirstWrong, "byte %d of the entry: %s", i, res.Sentence)
		require.Equal(t, target.Number, res.FirstWrong.Number, "byte %d of the entry: %s", i, res.Sentence)
	}
}

// TestRandomBits flips one random bit of the file: either verify notices, or every entry still reads as it was written
// (the bit lay where the file keeps nothing). It never panics.
func TestRandomBits(t *testing.T) {
	count := 150
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		count = 3000
	}
	path, file, written := wholeFile(t, 20)
	random := rand.New(rand.NewPCG(1, 2))
	noticed, named := 0, 0
	for range count {
		bit := random.IntN(len(file) * 8)
		damaged := bytes.Clone(file)
		damaged[bit/8] ^= 1 << (bit % 8)
		require.NoError(t, os.WriteFile(path, damaged, 0o600))
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: places(written)}, store.Options{})
		if err != nil || !res.Whole {
			noticed++
			if res.FirstWrong != nil {
				named++
			}
			continue
		}
		require.NoError(t, readsAs(t, path, written), "bit %d", bit)
	}
	t.Logf("%d bits: %d noticed, %d of them with the entry, %d harmless", count, noticed, named, count-noticed)
}

func readsAs(t *testing.T, path string, written []record.Entry) error {
	r, err := record.Open(path, record.Options{})
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }()
	for _, want := range written {
		got, err := r.ByRequestID(t.Context(), want.Request.ID)
		if err != nil {
			return err
		}
		if !bytes.Equal(got.Entry.Stored, want.Stored) || got.Entry.Hash != want.Hash {
			return fmt.Errorf("entry %d changed", want.Number)
		}
	}
	return nil
}

// TestLogDamaged flips bits in the log of a killed service: entries in it may vanish without a word from the database, so
// the receipts must convict it.
func TestLogDamaged(t *testing.T) {
	path := newPath(t)
	a := startAppender(t, path, false)
	for range 40 {
		require.True(t, a.read(t), a.refused)
	}
	require.NoError(t, a.cmd.Process.Kill())
	a.drain(t)
	log, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	const frame = 24 + 4096 // SQLite file format, section 4.1: a frame's header and one page
	frames := 0
	for at := 32; at+frame <= len(log) && bytes.Equal(log[at+8:at+16], log[16:24]); at += frame { // the salts: what follows is no part of this log
		frames++
	}
	require.Greater(t, frames, 10, "the log holds the entries")
	for n := 0; n < frames; n += max(1, frames/40) {
		damaged := bytes.Clone(log)
		damaged[32+n*frame+24+100] ^= 4
		require.NoError(t, os.WriteFile(path+"-wal", damaged, 0o600))
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: a.receipts()}, store.Options{})
		if n < frames*3/4 { // the last frames may be a batch that the kill cut off before anybody was answered: losing it loses nothing
			require.True(t, err != nil || !res.Whole, "frame %d of %d: %s", n, frames, res.Sentence)
		}
	}
}

// TestOlderCopyPutBack: a copy from before the last answered entry is refused by its receipts, at opening and in verify.
func TestOlderCopyPutBack(t *testing.T) {
	path, older, _ := wholeFile(t, 3)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	later := write(t, r, "pier", 4, 5)
	require.NoError(t, r.Close())
	require.NoError(t, os.WriteFile(path, older, 0o600))
	receipts := places(later)
	_, err = record.Open(path, record.Options{Receipts: receipts})
	require.ErrorIs(t, err, record.ErrLost)
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: receipts}, store.Options{})
	require.NoError(t, err)
	assert.False(t, res.Whole)
	require.NotNil(t, res.FirstWrong)
	assert.Equal(t, later[0].Number, res.FirstWrong.Number, res.Sentence)
	wrong := record.Place{Chain: "pier", Number: 2, Hash: record.Hash{1}}
	res, err = record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: []record.Place{wrong}}, store.Options{})
	require.NoError(t, err)
	assert.False(t, res.Whole, "a receipt for another entry: %s", res.Sentence)
}

// TestKeptHeads: the heads kept beside a record tell that it went back, and whoever verifies it; a file of them that is torn, rotten or
// written by hand is refused, never read as less.
func TestKeptHeads(t *testing.T) {
	path, older, _ := wholeFile(t, 3)
	none, err := record.KeptHeads(path)
	require.NoError(t, err)
	assert.Empty(t, none, "no file")
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	write(t, r, "pier", 4, 5)
	require.NoError(t, r.KeepHeads())
	kept, err := record.KeptHeads(path)
	require.NoError(t, err)
	var want []record.Place
	for name, h := range r.Heads() {
		want = append(want, record.Place{Chain: name, Number: h.Number, Hash: h.Hash})
	}
	assert.ElementsMatch(t, want, kept)
	lacks, err := r.Lacks(t.Context(), kept)
	require.NoError(t, err)
	assert.Empty(t, lacks)
	require.NoError(t, r.Close())

	require.NoError(t, os.WriteFile(path, older, 0o600))
	r, err = record.Open(path, record.Options{})
	require.NoError(t, err)
	lacks, err = r.Lacks(t.Context(), kept)
	require.NoError(t, err)
	require.Len(t, lacks, 1)
	assert.Equal(t, "pier", lacks[0].Chain)
	write(t, r, "pier", 40, 41, 42)
	lacks, err = r.Lacks(t.Context(), kept)
	require.NoError(t, err)
	assert.Len(t, lacks, 1, "another entry stands in its place")
	require.NoError(t, r.Close())
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Kept: kept}, store.Options{})
	require.NoError(t, err)
	assert.False(t, res.Whole)
	assert.Equal(t, &lacks[0], res.FirstWrong)

	content, err := os.ReadFile(path + "-heads")
	require.NoError(t, err)
	for bit := range 8 * len(content) {
		bad := bytes.Clone(content)
		bad[bit/8] ^= 1 << (bit % 8)
		require.NoError(t, os.WriteFile(path+"-heads", bad, 0o600))
		_, err := record.KeptHeads(path)
		require.ErrorIs(t, err, record.ErrHeads, "bit %d", bit)
	}
	for n := range content {
		require.NoError(t, os.WriteFile(path+"-heads", content[:n], 0o600))
		_, err := record.KeptHeads(path)
		require.ErrorIs(t, err, record.ErrHeads, "%d bytes", n)
	}
	for _, line := range []string{"pier 1 00\n", "\"pier\" 1 00\n", "\"pier\" -1 " + strings.Repeat("00", 32) + "\n", "\n", "\"pier\" 1 " + strings.Repeat("00", 32) + " 7\n"} {
		require.NoError(t, os.WriteFile(path+"-heads", fmt.Appendf(nil, "%ssum %x\n", line, sha256.Sum256([]byte(line))), 0o600))
		_, err := record.KeptHeads(path)
		require.ErrorIs(t, err, record.ErrHeads, "%q", line)
	}
}

// TestHeadsAreKeptOnce: they are written where they changed, whole and for their owner alone, each chain in its place; what cannot be written or
// read is told, and what is lacking is found behind what is there.
func TestHeadsAreKeptOnce(t *testing.T) {
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	chains := []string{"attic", "barn", "mill", "orchard", "pier", "tower"}
	for i, c := range chains {
		write(t, r, c, numbers(i+1)...)
	}
	require.NoError(t, r.KeepHeads())
	kept, err := record.KeptHeads(path)
	require.NoError(t, err)
	for i, c := range chains {
		assert.Equal(t, c, kept[i].Chain)
		assert.EqualValues(t, i+1, kept[i].Number)
	}
	info, err := os.Stat(path + "-heads")
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoError(t, os.Remove(path+"-heads"))
	require.NoError(t, r.KeepHeads())
	assert.NoFileExists(t, path+"-heads", "nothing changed")

	kept[4].Number++ // pier's
	lacks, err := r.Lacks(t.Context(), kept)
	require.NoError(t, err)
	assert.Equal(t, kept[4:5], lacks)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = r.Lacks(gone, kept)
	require.Error(t, err, "not looked at")

	write(t, r, "attic", 40)
	require.NoError(t, os.Mkdir(path+"-heads", 0o700))
	_, err = record.KeptHeads(path)
	require.ErrorIs(t, err, record.ErrHeads)
	assert.ErrorContains(t, err, "directory")
	require.ErrorContains(t, r.KeepHeads(), "keeping the heads", "a folder stands in the way")
	require.NoError(t, os.Remove(path+"-heads"))
	require.NoError(t, os.Remove(path+"-heads.new"))
	require.NoError(t, os.Mkdir(path+"-heads.new", 0o700))
	require.ErrorContains(t, r.KeepHeads(), "keeping the heads", "one stands where it is written")
	require.NoError(t, os.Remove(path+"-heads.new"))
	require.NoError(t, r.KeepHeads(), "tried again")
	require.NoError(t, r.Close())
	_, err = r.Lacks(t.Context(), kept)
	require.ErrorIs(t, err, record.ErrClosed)
}

// TestClosingKeepsTheHeads where its owner wants that.
func TestClosingKeepsTheHeads(t *testing.T) {
	for _, keeps := range []bool{false, true} {
		path := newPath(t)
		r, err := record.Open(path, record.Options{KeepHeads: func() bool { return keeps }})
		require.NoError(t, err)
		write(t, r, "pier", 1, 2)
		require.NoError(t, r.Close())
		kept, err := record.KeptHeads(path)
		require.NoError(t, err)
		assert.Equal(t, keeps, len(kept) == 1)
	}
}
