package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"keepclear.example/keepclear/service/internal/decide"
)

// What the comparison asks, and for how long; with -short a quarter of it. Ours.
const (
	compareAskers = 64                     // each of a rig of its own
	compareAlone  = 1000                   // questions of one asker, to each contender
	compareRounds = 4                      // turns of many askers
	compareTurn   = 3 * time.Second        // one contender's turn
	compareWarm   = 40                     // questions of each asker before the turns, while what can be proven of its rig is worked out
	compareStarts = 7                      // starts of each
	compareNear   = 200                    // questions near contact
	comparePause  = 200 * time.Millisecond // between turns
)

// contender is one server under comparison: asked by asker number i, once.
type contender struct {
	name    string
	program string
	mixers  []*mixer // of a service
	*process
	ask func(ctx context.Context, i int) (time.Duration, error)

	alone, many []time.Duration
	spent, span time.Duration // processor time and wall time of the turns of many askers
	warming     time.Duration // processor time of an answer before them
	starts      []time.Duration
	memory      int
}

// BenchmarkCompare holds the service beside a bare gRPC echo of the same sizes, the stock OPA server that judges the same facts with its log
// of decisions on, and the disk's own flush, in one run, turn by turn, and prints each bar of the issue with what was measured. Run it with
// nothing else on the machine:
//
//	go test -run xxx -bench Compare -benchtime 1x ./service
//
// KEEPCLEAR_BASE names another build of the service, which is then measured in the same run: before beside after. KEEPCLEAR_PROFILE names a
// folder into which ours writes profiles of processor, heap, locks and waiting. TMPDIR must not be in memory.
func BenchmarkCompare(b *testing.B) {
	for b.Loop() {
		c := newComparison(b)
		c.near(b)
		c.oneAsker(b)
		c.manyAskers(b)
		c.remember()
		if os.Getenv(profileMark) != "" {
			require.NoError(b, c.ours.cmd.Process.Signal(syscall.SIGTERM))
			_ = c.ours.cmd.Wait()
		}
		c.restart(b)
		c.commits(b)
		fmt.Printf("\n%s\n", c.table(b)) // the testing package cuts long logs short
	}
}

// BenchmarkAskers is the service alone under 64 askers; one operation is one answer. KEEPCLEAR_BASE and KEEPCLEAR_PROFILE as above.
func BenchmarkAskers(b *testing.B) {
	c := newServices(b)
	for _, x := range []*contender{c.base, c.ours} {
		if x == nil {
			continue
		}
		b.Run(x.name, func(b *testing.B) {
			before := x.used()
			var all sync.WaitGroup
			for i := range compareAskers {
				all.Go(func() {
					for n := i; n < b.N; n += compareAskers {
						if _, err := x.ask(b.Context(), i); err != nil {
							b.Error(err)
							return
						}
					}
				})
			}
			all.Wait()
			b.ReportMetric(float64((x.used()-before).Microseconds())/float64(b.N), "cpu-µs/op")
		})
		require.NoError(b, x.cmd.Process.Signal(syscall.SIGTERM))
		_ = x.cmd.Wait()
	}
}

// comparison is everything under comparison.
type comparison struct {
	dir     string // of the records and logs
	folder  string // of the rig files
	members []decide.Member
	ours    *contender
	base    *contender // nil: none
	opa     *contender
	echo    *contender
	all     []*contender
	judged  [][]judged // by asker

	request, reply, entry int    // sizes of an ordinary question, bytes
	kept                  []byte // that entry
	disk, commit          []time.Duration
	waiting               float64         // entries a second with 64 waiting
	nearest, into         []time.Duration // near contact, and into it
}

// newServices builds and starts ours, and what KEEPCLEAR_BASE names.
func newServices(b *testing.B) *comparison {
	c := &comparison{dir: onDisk(b)}
	c.folder, _ = nightRigs(b, compareAskers)
	files, facility, err := readRigs(c.folder)
	require.NoError(b, err)
	c.members, err = newMembers(files, facility)
	require.NoError(b, err)
	c.ours = c.service(b, "ours", compiled(b, "service", "./service"))
	c.ours.ask = c.askMix(c.ours.mixers)
	if path := os.Getenv("KEEPCLEAR_BASE"); path != "" {
		c.base = c.service(b, "base", path)
		c.base.ask = c.askMix(c.base.mixers)
	}
	return c
}

// newComparison starts all, and lets ours judge the questions whose facts the stock server will judge.
func newComparison(b *testing.B) *comparison {
	c := newServices(b)
	c.prepare(b, c.ours.mixers)
	address := freeAddress(b)
	opa := compiled(b, "opa", "-modfile=.ci/tools.mod", "github.com/open-policy-agent/opa")
	p, _ := launch(b, filepath.Join(c.dir, "opa.log"), address, opa, nil, opaArgs(b, c.members[0], address)...)
	c.opa = &contender{name: "(b) stock OPA", program: opa, process: p, ask: c.askOPA(address)}
	address = freeAddress(b)
	p, _ = launch(b, filepath.Join(c.dir, "echo.log"), address, os.Args[0], []string{fmt.Sprintf("%s=%s %d", echoMark, address, c.reply)})
	c.echo = &contender{name: "(a) bare echo", process: p, ask: c.askEcho(b, address)}
	c.all = []*contender{c.ours, c.opa, c.echo}
	if c.base != nil {
		c.all = append(c.all, c.base)
	}
	return c
}

// onDisk is a folder on a file system that is not in memory.
func onDisk(b *testing.B) string {
	dir := b.TempDir()
	var fs syscall.Statfs_t
	require.NoError(b, syscall.Statfs(dir, &fs))
	const tmpfs, ramfs = 0x01021994, 0x858458f6 // statfs(2)
	if fs.Type == tmpfs || fs.Type == ramfs {
		b.Fatalf("%s is in memory: name a folder on a disk with TMPDIR", dir)
	}
	return dir
}

// service starts a build of the service on the rigs of a folder, with a record of its own.
func (c *comparison) service(b *testing.B, name, program string) *contender {
	address := freeAddress(b)
	served, env := program, []string(nil)
	if os.Getenv(profileMark) != "" && name == "ours" {
		served, env = os.Args[0], []string{childMark + "=1"}
	}
	p, _ := launch(b, filepath.Join(c.dir, name+".log"), address, served, env, c.serving(name, address, c.folder)...)
	return &contender{name: name, program: program, process: p, mixers: c.mixers(b, address)}
}

func (c *comparison) serving(name, address, folder string) []string {
	return []string{"serve", "--listen", address, "--clock-within", "1", "--rigs", folder, "--record", filepath.Join(c.dir, name+".keepclear")}
}

// mixers are the askers of a service, each with a connection of its own, their rigs homed.
func (c *comparison) mixers(b *testing.B, address string) []*mixer {
	var out []*mixer
	for i, m := range c.members {
		conn := connect(b, address)
		b.Cleanup(func() { _ = conn.Close() })
		x := newMixer(m.Rig, conn, uint64(i))
		require.NoError(b, x.home(b.Context()))
		out = append(out, x)
	}
	return out
}

// prepare has ours judge ten questions of each asker, facts beside the answer, and notes what an ordinary one weighs.
func (c *comparison) prepare(b *testing.B, mixers []*mixer) {
	read := readFacts(c.members[0])
	for _, m := range mixers {
		m.facts = true
		var all []judged
		for range 10 {
			kind := m.draw()
			out, _, err := m.ask(b.Context(), kind)
			require.NoError(b, err)
			j, err := judgedOf(kind, out.GetJudgement(), read)
			require.NoError(b, err)
			all = append(all, j)
		}
		m.facts = false
		c.judged = append(c.judged, all)
	}
	q, err := mixers[0].question(slewSky)
	require.NoError(b, err)
	out, _, err := mixers[0].ask(b.Context(), slewSky)
	require.NoError(b, err)
	c.request, c.reply = proto.Size(q), proto.Size(out)
	c.kept = entryOf(b, mixers[0].conn, out.GetReceipt())
	c.entry = len(c.kept)
}

func (c *comparison) askMix(mixers []*mixer) func(context.Context, int) (time.Duration, error) {
	return func(ctx context.Context, i int) (time.Duration, error) {
		_, took, err := mixers[i].ask(ctx, mixers[i].draw())
		return took, err
	}
}

func (c *comparison) askOPA(address string) func(context.Context, int) (time.Duration, error) {
	clients, next := make([]*opaClient, compareAskers), make([]int, compareAskers)
	for i := range clients {
		clients[i] = newOPAClient(address)
	}
	return func(ctx context.Context, i int) (time.Duration, error) {
		next[i]++
		return clients[i].ask(ctx, c.judged[i][next[i]%len(c.judged[i])])
	}
}

func (c *comparison) askEcho(b *testing.B, address string) func(context.Context, int) (time.Duration, error) {
	conns := make([]*grpc.ClientConn, compareAskers)
	for i := range conns {
		conns[i] = connect(b, address)
		b.Cleanup(func() { _ = conns[i].Close() })
	}
	request := make([]byte, c.request)
	return func(ctx context.Context, i int) (time.Duration, error) {
		return echoed(ctx, conns[i], request, c.reply)
	}
}

// oneAsker asks each in turn, one question after the other, and flushes an entry's bytes between.
func (c *comparison) oneAsker(b *testing.B) {
	f := newFlusher(b, c.dir, c.entry)
	for n := range shorter(compareAlone) {
		for _, x := range c.all {
			took, err := x.ask(b.Context(), n%compareAskers)
			require.NoError(b, err, x.name)
			x.alone = append(x.alone, took)
		}
		c.disk = append(c.disk, f.flush(b))
	}
}

// near asks slews that pass close by the tripod or run into it: their proof, and the search for a way around, are counted apart.
func (c *comparison) near(b *testing.B) {
	m := c.ours.mixers[0]
	for range shorter(compareNear) {
		for kind, to := range map[string]*[]time.Duration{nearTripod: &c.nearest, intoTripod: &c.into} {
			_, took, err := m.ask(b.Context(), kind)
			require.NoError(b, err)
			*to = append(*to, took)
		}
	}
}

// manyAskers lets all askers ask one contender after the other, in turns.
func (c *comparison) manyAskers(b *testing.B) {
	for _, x := range c.all {
		before := x.used()
		x.askers(b, func(n int) bool { return n < shorter(compareWarm) })
		x.warming = (x.used() - before) / time.Duration(compareAskers*shorter(compareWarm))
	}
	for range shorter(compareRounds) {
		for _, x := range c.all {
			time.Sleep(comparePause)
			x.turn(b)
		}
	}
}

func (x *contender) turn(b *testing.B) {
	before, began := x.used(), time.Now()
	took := x.askers(b, func(int) bool { return time.Since(began) < compareTurn })
	x.span += time.Since(began)
	x.spent += x.used() - before
	x.many = append(x.many, took...)
}

// askers lets every asker ask as long as it may, by how often it has; it returns how long each answer took.
func (x *contender) askers(b *testing.B, more func(asked int) bool) (all []time.Duration) {
	took := make([][]time.Duration, compareAskers)
	failed := make([]error, compareAskers)
	var wait sync.WaitGroup
	for i := range compareAskers {
		wait.Go(func() {
			for more(len(took[i])) && failed[i] == nil {
				var d time.Duration
				d, failed[i] = x.ask(b.Context(), i)
				took[i] = append(took[i], d)
			}
		})
	}
	wait.Wait()
	for i := range took {
		require.NoError(b, failed[i], x.name)
		all = append(all, took[i]...)
	}
	return all
}

func (c *comparison) remember() {
	for _, x := range c.all {
		x.memory = x.resident()
	}
}

// shorter is a count, or a quarter of it where the run is to be short.
func shorter(n int) int {
	if testing.Short() {
		return (n + 3) / 4
	}
	return n
}

// at is the value below which a share of the durations lies.
func at(share float64, of []time.Duration) time.Duration {
	s := slices.Sorted(slices.Values(of))
	if len(s) == 0 {
		return 0
	}
	return s[min(len(s)-1, int(share*float64(len(s))))]
}

// rate is answers a second of many askers.
func (x *contender) rate() float64 { return float64(len(x.many)) / x.span.Seconds() }

// perAnswer is the processor time of one answer.
func (x *contender) perAnswer() time.Duration { return x.spent / time.Duration(max(1, len(x.many))) }

// table prints every bar, what was measured, and whether it is met.
func (c *comparison) table(b *testing.B) string {
	var s strings.Builder
	fmt.Fprintf(&s, "%d rigs; request %d bytes, reply %d, entry %d; mix of questions %v\n", len(c.members), c.request, c.reply, c.entry, mix)
	fmt.Fprintf(&s, "%-14s %9s %9s | %d askers: %8s %9s %9s %9s %9s | %9s %9s\n", "", "p50", "p99", compareAskers, "a second", "p50", "p99", "cpu each", "warming", "first", "resident")
	for _, x := range c.all {
		fmt.Fprintf(&s, "%-14s %9s %9s | %18.0f %9s %9s %9s %9s | %9s %6.1f MB\n", x.name, short(at(.5, x.alone)), short(at(.99, x.alone)),
			x.rate(), short(at(.5, x.many)), short(at(.99, x.many)), short(x.perAnswer()), short(x.warming), short(at(.5, x.starts)), float64(x.memory)/1e6)
	}
	fmt.Fprintf(&s, "%-14s %9s %9s\n", "(c) the disk", short(at(.5, c.disk)), short(at(.99, c.disk)))
	fmt.Fprintf(&s, "%-14s %9s %9s | %18.0f entries a second with 64 waiting\n", "a commit", short(at(.5, c.commit)), short(at(.99, c.commit)), c.waiting)
	fmt.Fprintf(&s, "%-14s %9s %9s\n", "near contact", short(at(.5, c.nearest)), short(at(.99, c.nearest)))
	fmt.Fprintf(&s, "%-14s %9s %9s (with a way around sought)\n\n", "into contact", short(at(.5, c.into)), short(at(.99, c.into)))
	for _, l := range c.bars(b) {
		s.WriteString(l.String())
	}
	return s.String()
}

func short(d time.Duration) string { return d.Round(time.Microsecond).String() }
