package main

import (
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
)

// bar is one line of what the issue asks for: a figure and what it may be at most, or must be at least.
type bar struct {
	what        string
	got, want   float64
	unit        string
	atLeast     bool
	notMeasured bool
}

func (x bar) String() string {
	sign, met := "<=", x.got <= x.want
	if x.atLeast {
		sign, met = ">=", x.got >= x.want
	}
	said := map[bool]string{true: "met", false: "NOT MET"}[met]
	if x.notMeasured {
		said = "not measured"
	}
	return fmt.Sprintf("%-62s %8.3f %s %6.2f %-4s %s\n", x.what, x.got, sign, x.want, x.unit, said)
}

// bars are the bars of the issue.
func (c *comparison) bars(b *testing.B) []bar {
	o, p := c.ours, c.opa
	own := at(.5, o.alone) - at(.5, c.disk)
	single := float64(time.Second) / float64(at(.5, c.commit))
	out := []bar{
		{what: "one asker: p50 less the disk's, of OPA's p50", got: ratio(own, at(.5, p.alone)), want: 0.8},
		{what: "one asker: p99, of OPA's", got: ratio(at(.99, o.alone), at(.99, p.alone)), want: 1},
		{what: "64 askers: throughput, of OPA's", got: o.rate() / p.rate(), want: 5, atLeast: true},
		{what: "64 askers: p99, of OPA's", got: ratio(at(.99, o.many), at(.99, p.many)), want: 0.15},
		{what: "64 askers: processor time of an answer, of OPA's", got: ratio(o.perAnswer(), p.perAnswer()), want: 0.2},
		{what: "a single commit, of the disk's flush (p50)", got: ratio(at(.5, c.commit), at(.5, c.disk)), want: 1.5},
		{what: "64 waiting askers, of the single rate", got: c.waiting / single, want: 6, atLeast: true},
		{what: "first answer after start, of OPA's", got: ratio(at(.5, o.starts), at(.5, p.starts)), want: 0.5},
		{what: "resident memory, of OPA's", got: float64(o.memory) / float64(p.memory), want: 0.75},
	}
	if c.base != nil {
		out = append(out,
			bar{what: "  beside base: throughput", got: o.rate() / c.base.rate(), want: 1, atLeast: true},
			bar{what: "  beside base: processor time of an answer", got: ratio(o.perAnswer(), c.base.perAnswer()), want: 1},
			bar{what: "  beside base: one asker p50", got: ratio(at(.5, o.alone), at(.5, c.base.alone)), want: 1},
			bar{what: "  beside base: first answer after start", got: ratio(at(.5, o.starts), at(.5, c.base.starts)), want: 1},
			bar{what: "  beside base: resident memory", got: float64(o.memory) / float64(c.base.memory), want: 1})
	}
	return append(out, inProcess(b)...)
}

func ratio(a, b time.Duration) float64 { return float64(a) / float64(max(1, b)) }

// inProcess runs the benchmarks of rules and facts by themselves and holds them against their bars, in µs.
func inProcess(b *testing.B) []bar {
	var out []bar
	for _, x := range []struct {
		room, name string
		bars       map[string]float64 // name of the line → µs
	}{
		{"rules", "BenchmarkJudge", map[string]float64{"every_rule,_all_pass": 75, "every_rule,_three_do_not": 150}},
		{"facts", "BenchmarkCompute", map[string]float64{"sync": 100, "slew_by_axes": 150, "slew_by_sky": 150, "slew_near_contact": 2000}},
	} {
		c := exec.Command("go", "test", "-run", "xxx", "-bench", x.name+"$", "./internal/"+x.room)
		text, err := c.CombinedOutput()
		require.NoError(b, err, "%s", text)
		for _, line := range slices.Sorted(maps.Keys(x.bars)) {
			found := regexp.MustCompile(`(?m)^` + x.name + `/` + regexp.QuoteMeta(line) + `(-\d+)?\s+\d+\s+([\d.]+) ns/op`).FindSubmatch(text)
			l := bar{what: "in process: " + x.room + ", " + line, want: x.bars[line], unit: "µs", notMeasured: found == nil}
			if found != nil {
				ns, err := strconv.ParseFloat(string(found[2]), 64)
				require.NoError(b, err)
				l.got = ns / 1000
			}
			out = append(out, l)
		}
	}
	return out
}

// flusher writes the bytes of an entry over a file that is there already, and flushes them: what the disk itself takes.
type flusher struct {
	f   *os.File
	buf []byte
	n   int64
}

const flusherSlots = 256

func newFlusher(b *testing.B, dir string, size int) *flusher {
	f, err := os.Create(filepath.Join(dir, "flushed"))
	require.NoError(b, err)
	b.Cleanup(func() { _ = f.Close() })
	_, err = f.Write(make([]byte, flusherSlots*size))
	require.NoError(b, err)
	require.NoError(b, f.Sync())
	return &flusher{f: f, buf: make([]byte, size)}
}

func (f *flusher) flush(b *testing.B) time.Duration {
	began := time.Now()
	_, err := f.f.WriteAt(f.buf, f.n%flusherSlots*int64(len(f.buf)))
	require.NoError(b, err)
	require.NoError(b, syscall.Fdatasync(int(f.f.Fd())))
	f.n++
	return time.Since(began)
}

// commits times an append that waits, beside the flush of as many bytes, and then 64 that wait at once.
func (c *comparison) commits(b *testing.B) {
	rec, err := record.Open(filepath.Join(c.dir, "commits.keepclear"), record.Options{})
	require.NoError(b, err)
	defer rec.Close()
	f := newFlusher(b, c.dir, c.entry)
	c.disk = nil
	keep := func(chain string) error {
		w, err := rec.Append(record.Draft{Chain: chain, Time: time.Now(), Body: c.kept, Awaited: true,
			Index: record.Index{Kind: "asked", Rig: chain, Request: record.Request{ID: newID()}, LeaveIDs: []string{newID()}, Sentence: "Benchmark."}}, rec.Head(chain))
		if err != nil {
			return err
		}
		return w.Wait()
	}
	for range shorter(compareAlone) {
		began := time.Now()
		require.NoError(b, keep("rig-00"))
		c.commit = append(c.commit, time.Since(began))
		c.disk = append(c.disk, f.flush(b))
	}
	var all sync.WaitGroup
	counts, began := make([]int, compareAskers), time.Now()
	for i := range compareAskers {
		all.Go(func() {
			for time.Since(began) < compareTurn && keep(fmt.Sprintf("rig-%02d", i)) == nil {
				counts[i]++
			}
		})
	}
	all.Wait()
	for _, n := range counts {
		c.waiting += float64(n) / time.Since(began).Seconds()
	}
}

// entryOf is an entry as the hash covers it.
func entryOf(b *testing.B, conn *grpc.ClientConn, rc *pb.Receipt) []byte {
	out, err := pb.NewRecordServiceClient(conn).GetEntry(b.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: rc.GetChain(), Number: rc.GetNumber()}}})
	require.NoError(b, err)
	return out.GetEntry().GetStored()
}

// restart starts each service and the stock server anew, in turns, and times the first answer from the start of the process. The record
// of the service holds what it needs for an allow: its rigs are homed.
func (c *comparison) restart(b *testing.B) {
	firsts := map[*contender]func() time.Duration{c.opa: c.firstOfOPA(b)}
	for _, x := range c.all {
		if x.program != "" && x != c.opa {
			firsts[x] = c.firstOfService(b, x)
		}
	}
	for range shorter(compareStarts) {
		for _, x := range c.all {
			if first := firsts[x]; first != nil {
				x.starts = append(x.starts, first())
			}
		}
	}
}

func (c *comparison) firstOfService(b *testing.B, x *contender) func() time.Duration {
	name := x.name + "-again"
	run := func() (*process, time.Time) {
		address := freeAddress(b)
		return launch(b, filepath.Join(c.dir, name+".log"), address, x.program, nil, c.serving(name, address, c.folder)...)
	}
	p, _ := run()
	m := c.mixers(b, p.address)[0]
	require.NoError(b, p.cmd.Process.Signal(os.Interrupt))
	_ = p.cmd.Wait()
	return func() time.Duration {
		p, began := run()
		defer p.stop()
		conn := connect(b, p.address)
		defer conn.Close()
		m.motion = pb.NewMotionServiceClient(conn)
		_, _, err := m.ask(b.Context(), slewAxes)
		require.NoError(b, err)
		return time.Since(began)
	}
}

func (c *comparison) firstOfOPA(b *testing.B) func() time.Duration {
	return func() time.Duration {
		address := freeAddress(b)
		p, began := launch(b, filepath.Join(c.dir, "opa-again.log"), address, c.opa.program, nil, opaArgs(b, c.members[0], address)...)
		defer p.stop()
		client := newOPAClient(address)
		defer client.http.CloseIdleConnections()
		for { // it may listen before it has its rules
			_, err := client.ask(b.Context(), c.judged[0][0])
			if err == nil {
				return time.Since(began)
			}
			require.Less(b, time.Since(began), time.Minute, "%v", err)
		}
	}
}
