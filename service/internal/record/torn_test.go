package record_test

import (
	"encoding/hex"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// tornSeed chooses the instants of the cuts and what survives of unsynced writes.
const tornSeed = 20261128

// sector is what a disk writes whole or not at all, bytes.
const sector = 512

// folder stands for the folder's own list of names.
const folder = "."

// did is one thing that the appender did to the record's files, or an answer that it gave.
type did struct {
	call string // pwrite64, ftruncate, fsync, unlink; "answer"
	file string // side of the record: "", "-wal" …
	at   int64  // offset of a write, length of a cut
	data []byte
	told record.Place // of an answer
}

var (
	callLine = regexp.MustCompile(`^(\d+) +(\w+)\((.*)\) += (-?\d+)`)
	onFile   = regexp.MustCompile(`^\d+<([^>]*)>`)
	pathIn   = regexp.MustCompile(`<((?:\\x[0-9a-f]{2})+)>`)
	written  = regexp.MustCompile(`^\d+<[^>]*>, "((?:\\x[0-9a-f]{2})*)", (\d+)(?:, (\d+))?$`)
)

// watched runs an appender of so many batches to its end under strace, and returns all that it did, in order.
func watched(t *testing.T, batches int) []did {
	t.Helper()
	path, log := newPath(t), filepath.Join(t.TempDir(), "calls")
	t.Setenv(childLimit, strconv.Itoa(batches))
	a := startAppender(t, path, false, "strace", "-f", "-qq", "-y", "-xx", "-s", "100000", "-o", log, "-e", "signal=none",
		"-e", "trace=pwrite64,write,fsync,fdatasync,ftruncate,unlink,unlinkat")
	a.drain(t)
	require.Empty(t, a.refused)
	text, err := os.ReadFile(log)
	require.NoError(t, err)
	var out []did
	begun := map[string]string{} // by thread: the head of a call that another thread's came between
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		thread, rest, _ := strings.Cut(line, " ")
		if head, ok := strings.CutSuffix(line, " <unfinished ...>"); ok {
			begun[thread] = head
			continue
		}
		if _, tail, ok := strings.Cut(rest, " resumed>"); ok {
			line = begun[thread] + tail
		}
		line = pathIn.ReplaceAllStringFunc(line, func(p string) string { return "<" + string(unhex(t, p[1:len(p)-1])) + ">" })
		if m := callLine.FindStringSubmatch(line); m != nil && m[4] != "-1" {
			out = append(out, understood(t, path, m[2], m[3])...)
		}
	}
	return out
}

// understood turns one call into what it did to the record; nothing, where it did nothing to it.
func understood(t *testing.T, path, call, args string) []did {
	t.Helper()
	if strings.HasPrefix(call, "unlink") {
		raw := unhex(t, args[strings.Index(args, `"`)+1:strings.LastIndex(args, `"`)])
		if side, ours := strings.CutPrefix(string(raw), path); ours {
			return []did{{call: "unlink", file: side}}
		}
		return nil
	}
	f := onFile.FindStringSubmatch(args)
	if f == nil {
		return nil
	}
	side, ours := strings.CutPrefix(f[1], path)
	m := written.FindStringSubmatch(args)
	switch {
	case call == "write" && strings.HasPrefix(args, "1<") && m != nil:
		return answersIn(t, string(unhex(t, m[1])))
	case f[1] == filepath.Dir(path):
		return []did{{call: "fsync", file: folder}}
	case !ours:
		return nil
	case m != nil:
		raw := unhex(t, m[1])
		at, err := strconv.ParseInt(m[3], 10, 64)
		require.NoError(t, err, args)
		return []did{{call: "pwrite64", file: side, at: at, data: raw}}
	case call == "ftruncate":
		n, err := strconv.ParseInt(args[strings.LastIndex(args, " ")+1:], 10, 64)
		require.NoError(t, err)
		return []did{{call: call, file: side, at: n}}
	}
	return []did{{call: "fsync", file: side}}
}

// unhex reads strace's own way to write bytes.
func unhex(t *testing.T, s string) []byte {
	t.Helper()
	raw, err := hex.DecodeString(strings.ReplaceAll(s, `\x`, ""))
	require.NoError(t, err, s)
	return raw
}

// answersIn are the entries that a piece of the appender's output answers.
func answersIn(t *testing.T, said string) (out []did) {
	t.Helper()
	for line := range strings.Lines(said) {
		var d did
		var hash string
		_, err := fmt.Sscanf(line, "%s %d %s", &d.told.Chain, &d.told.Number, &hash)
		require.NoError(t, err, line)
		raw, err := hex.DecodeString(hash)
		require.NoError(t, err)
		copy(d.told.Hash[:], raw)
		d.call = "answer"
		out = append(out, d)
	}
	return out
}

// disk is what the record's files hold for certain, and what was done to them since their last sync.
type disk struct {
	sure    map[string][]byte
	pending []did
}

// do lets the next thing happen. A sync makes sure what was done to its file.
func (d *disk) do(n did) {
	if n.call != "fsync" {
		d.pending = append(d.pending, n)
		return
	}
	var left []did
	for _, p := range d.pending {
		switch {
		case p.call == "unlink" && n.file == folder:
			delete(d.sure, p.file)
		case p.file == n.file && p.call != "unlink": // a name is the folder's, not the file's
			d.sure[p.file] = applied(d.sure[p.file], p)
		default:
			left = append(left, p)
		}
	}
	d.pending = left
}

// applied is a file after a write or a cut.
func applied(file []byte, p did) []byte {
	end := p.at + int64(len(p.data))
	if p.call == "ftruncate" {
		return append(slices.Clone(file), make([]byte, max(0, p.at-int64(len(file))))...)[:p.at]
	}
	file = append(slices.Clone(file), make([]byte, max(0, end-int64(len(file))))...)
	copy(file[p.at:], p.data)
	return file
}

// cut is what a power cut leaves: of what was not synced any sectors, in any order.
func (d *disk) cut(g *rand.Rand) map[string][]byte {
	left := maps.Clone(d.sure)
	var parts []did
	for _, p := range d.pending {
		switch {
		case p.call != "pwrite64":
			parts = append(parts, p)
		default:
			for i := 0; i < len(p.data); i += sector {
				parts = append(parts, did{call: p.call, file: p.file, at: p.at + int64(i), data: p.data[i:min(len(p.data), i+sector)]})
			}
		}
	}
	g.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	share := g.Float64()
	for _, p := range parts {
		switch {
		case g.Float64() > share:
		case p.call == "unlink":
			delete(left, p.file)
		default:
			left[p.file] = applied(left[p.file], p)
		}
	}
	return left
}

// tear lets all happen up to an instant, cuts the power, and tells what is wrong with the record that is found; empty: nothing. A lazy disk
// takes no sync seriously.
func tear(t *testing.T, all []did, upTo int, g *rand.Rand, lazy bool) string {
	t.Helper()
	d := disk{sure: map[string][]byte{}}
	answered := map[string]record.Place{}
	for _, n := range all[:upTo] {
		switch {
		case n.call == "answer":
			answered[n.told.Chain] = n.told
		case !lazy || n.call != "fsync":
			d.do(n)
		}
	}
	path := newPath(t)
	for side, content := range d.cut(g) {
		if side != "-shm" && side != "-lock" {
			require.NoError(t, os.WriteFile(path+side, content, 0o600))
		}
	}
	places := slices.Collect(maps.Values(answered))
	r, err := record.Open(path, record.Options{Receipts: places})
	if err != nil {
		return err.Error()
	}
	require.NoError(t, r.Close())
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: places}, store.Options{})
	require.NoError(t, err)
	if !res.Whole {
		return res.Sentence
	}
	return ""
}

// TestTornWrites (faults.md, row 26): what a real appender did to its files is replayed up to an instant drawn by a seed, and of what was not
// synced by then any sectors are kept, in any order. Every answered entry is there, none is read by half, and the record opens by itself. On a
// disk that takes no sync seriously something is lost, or the test proves nothing.
func TestTornWrites(t *testing.T) {
	if os.Getenv("KEEPCLEAR_STRACE") == "" {
		t.Skip("set KEEPCLEAR_STRACE=1 (strace)")
	}
	cuts := 60
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		cuts = 1500
	}
	all := watched(t, 8)
	syncs := 0
	for _, n := range all {
		if n.call == "fsync" {
			syncs++
		}
	}
	require.Greater(t, syncs, 8, "every batch is synced")
	g := rand.New(rand.NewPCG(tornSeed, 1))
	for n := range cuts {
		at := g.IntN(len(all) + 1)
		require.Empty(t, tear(t, all, at, g, false), "cut %d, after %d of %d, seed %d", n, at, len(all), tornSeed)
	}
	lost := 0
	for range 20 {
		if tear(t, all, len(all)/2+g.IntN(len(all)/2), g, true) != "" {
			lost++
		}
	}
	assert.Greater(t, lost, 10, "the canary (no sync counts) kept nearly everything")
	t.Logf("%d cuts over %d calls, nothing lost; the canary lost in %d of 20", cuts, len(all), lost)
}
