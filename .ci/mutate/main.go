package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
	"syscall"
	"time"
)

// options are what the command line says.
type options struct {
	root   string // of the checkout
	sample int    // how many mutants at most; 0: all
	seed   uint64
	within time.Duration // no mutant is begun later than this; 0: no end
	jobs   int
	list   bool
	match  string          // only mutants whose key contains it
	except string          // none whose key contains it
	again  map[string]bool // only these keys; nil: any
	quiet  bool
	own    bool          // the room's own tests alone
	budget time.Duration // of tests, as they take alone, for each mutant; 0: no end
	rooms  []room
	ctx    context.Context // ends with SIGINT and SIGTERM
}

func main() { os.Exit(run(os.Args[1:], os.Stdout)) }

func run(args []string, out io.Writer) int {
	o, err := parse(args, out)
	if err != nil {
		fmt.Fprintln(out, "mutate:", err)
		return 2
	}
	scratch, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		fmt.Fprintln(out, "mutate:", err)
		return 2
	}
	defer os.RemoveAll(scratch)
	var stop context.CancelFunc
	o.ctx, stop = signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	bad, err := work(o, scratch, out)
	if err != nil {
		fmt.Fprintln(out, "mutate:", err)
		return 2
	}
	if bad > 0 {
		fmt.Fprintf(out, "mutate: %d to mend: kill a survivor with a test, or list it in .ci/survivors with the reason\n", bad)
		return 1
	}
	return 0
}

func parse(args []string, out io.Writer) (options, error) {
	var o options
	f := flag.NewFlagSet("mutate", flag.ContinueOnError)
	f.SetOutput(out)
	f.IntVar(&o.sample, "sample", 0, "try this many mutants, drawn by lot; 0: all")
	f.Uint64Var(&o.seed, "seed", 1, "of the lot")
	f.DurationVar(&o.within, "within", 0, "begin no mutant after this long; 0: no end")
	f.IntVar(&o.jobs, "jobs", runtime.NumCPU(), "how many at once")
	f.BoolVar(&o.list, "list", false, "name the mutants, try none")
	f.BoolVar(&o.quiet, "quiet", false, "name only what is to mend")
	f.BoolVar(&o.own, "own", false, "ask the room's own tests alone, not its neighbours")
	f.DurationVar(&o.budget, "budget", 0, "give each mutant up after tests that take this long, to look for holes in a hurry; 0: never")
	f.StringVar(&o.match, "match", "", "only mutants whose line contains this")
	f.StringVar(&o.except, "except", "", "no mutant whose line contains this")
	again := f.String("again", "", "try only what this file, the output of an earlier run, calls a SURVIVOR")
	if err := f.Parse(args); err != nil {
		return o, err
	}
	var err error
	if *again != "" {
		if o.again, err = survivorsOf(*again); err != nil {
			return o, err
		}
	}
	if o.root, err = filepath.Abs("."); err != nil {
		return o, err
	}
	if _, err := os.Stat(filepath.Join(o.root, ".ci", "mutate")); err != nil {
		return o, fmt.Errorf("run it at the root of the checkout: %w", err)
	}
	o.rooms, err = chosen(f.Args())
	return o, err
}

// work finds the mutants of the rooms, tries those that the lot names, and tells how many lines are to mend.
func work(o options, scratch string, out io.Writer) (int, error) {
	began := time.Now()
	listed, err := readSurvivors(filepath.Join(o.root, ".ci", "survivors"))
	if err != nil {
		return 0, err
	}
	var all []*mutant
	trials := map[string]trier{}
	for _, r := range o.rooms {
		found, t, err := r.open(o, filepath.Join(scratch, strings.ReplaceAll(r.name, "/", "-")))
		if err != nil {
			return 0, fmt.Errorf("room %s: %w", r.name, err)
		}
		number(found)
		all, trials[r.name] = append(all, found...), t
	}
	bad := listed.vanished(all, o.rooms, out)
	lot := draw(all, o)
	if o.list {
		for _, m := range lot {
			fmt.Fprintln(out, m.place(), "|", m.text, "|", m.change)
		}
		return bad, nil
	}
	tried, err := try(lot, trials, o, began, out)
	switch {
	case o.ctx.Err() != nil:
		return 0, o.ctx.Err()
	case err != nil:
		return 0, err
	}
	for _, m := range tried {
		bad += listed.judge(m, out)
	}
	summary(tried, all, listed, time.Since(began), out)
	return bad, nil
}

// draw shuffles what is to be tried by the seed where only a part of it can be; else it stands in order.
func draw(all []*mutant, o options) []*mutant {
	var lot []*mutant
	for _, m := range all {
		if o.again != nil && !o.again[m.key()] {
			continue
		}
		if strings.Contains(m.key(), o.match) && (o.except == "" || !strings.Contains(m.key(), o.except)) {
			lot = append(lot, m)
		}
	}
	if o.sample == 0 && o.within == 0 {
		return lot
	}
	r := rand.New(rand.NewPCG(o.seed, o.seed))
	r.Shuffle(len(lot), func(i, j int) { lot[i], lot[j] = lot[j], lot[i] })
	if o.sample > 0 && o.sample < len(lot) {
		lot = lot[:o.sample]
	}
	return lot
}

// survivorsOf reads the keys of the survivors of an earlier run.
func survivorsOf(path string) (map[string]bool, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	out := map[string]bool{}
	for line := range strings.SplitSeq(string(text), "\n") {
		if key, ok := strings.CutPrefix(line, "SURVIVOR: "); ok {
			key, _, _ = strings.Cut(key, "   (line ")
			out[key] = true
		}
	}
	return out, nil
}

// number gives equal keys of one function an ordinal.
func number(all []*mutant) {
	sort.SliceStable(all, func(i, j int) bool {
		a, b := all[i], all[j]
		return a.file < b.file || a.file == b.file && a.line < b.line
	})
	seen := map[string]int{}
	for _, m := range all {
		seen[m.key()]++
		if n := seen[m.key()]; n > 1 {
			m.change += fmt.Sprintf(" #%d", n)
		}
	}
}
