package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/season"
)

// seasonOptions are the flags of practice.
type seasonOptions struct {
	seed        uint64
	first, last uint64 // of a season; last 0: one night
	gate        string
	all         bool
	threads     int
	wish        season.Wish
}

// practiceNights plays practice nights and scores them: one, told line by line, or a season of many.
func practiceNights(ctx context.Context, s streams, args []string) int {
	table, err := season.ReadTable(season.TableText())
	if err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	o, err := seasonFlags(s, args, table)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		fmt.Fprintln(s.err, err)
		return exitUsage
	}
	if err := o.play(ctx, s, table); err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	return exitDone
}

func seasonFlags(s streams, args []string, table *season.Table) (seasonOptions, error) {
	o := seasonOptions{}
	f := flag.NewFlagSet("practice", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = f.PrintDefaults // how the command is used is said before
	f.Uint64Var(&o.seed, "seed", 1, "the night's `number`: the same seed is the same night")
	f.Func("seeds", "a season, as `1-200`: 1 to 999 are there to tune on, 1000000 and up to judge by", func(text string) (err error) {
		o.first, o.last, err = readSeeds(text)
		return err
	})
	f.StringVar(&o.gate, "gate", season.Ours, "of one night: `name` of the gate that judges the syncs")
	f.BoolVar(&o.all, "beside", false, "of a season: play three obvious gates on the same nights, too")
	f.IntVar(&o.threads, "threads", runtime.NumCPU(), "of a season: so many nights at once")
	f.StringVar(&o.wish.Kind, "kind", "", "only nights of this `kind`: "+strings.Join(season.Kinds(), ", ")+"; without it, as drawn")
	f.StringVar(&o.wish.Mechanism, "mechanism", "", "every false solve by this `mechanism`: "+strings.Join(table.Mechanisms(), ", "))
	f.StringVar(&o.wish.Fault, "fault", "", "a night with this `fault`: "+strings.Join(table.FaultNames(), ", "))
	if err := f.Parse(args); err != nil {
		return o, err
	}
	return o, o.check(f, table)
}

// readSeeds reads 1-200.
func readSeeds(text string) (first, last uint64, err error) {
	a, b, ok := strings.Cut(text, "-")
	if !ok {
		b = a
	}
	first, err1 := strconv.ParseUint(strings.TrimSpace(a), 10, 63)
	last, err2 := strconv.ParseUint(strings.TrimSpace(b), 10, 63)
	if err1 != nil || err2 != nil || last < first || last == 0 || last-first >= 100_000 {
		return 0, 0, fmt.Errorf("want two whole numbers such as 1-200, the second no smaller, at most 100000 nights")
	}
	return first, last, nil
}

func (o *seasonOptions) check(f *flag.FlagSet, table *season.Table) error {
	if f.NArg() > 0 {
		return fmt.Errorf("not understood: %q; practice takes flags only", f.Arg(0))
	}
	for _, c := range []struct {
		flag, got string
		of        []string
	}{{"kind", o.wish.Kind, season.Kinds()}, {"mechanism", o.wish.Mechanism, table.Mechanisms()}, {"fault", o.wish.Fault, table.FaultNames()}} {
		if c.got != "" && !slices.Contains(c.of, c.got) {
			return fmt.Errorf("--%s %q: want one of %s", c.flag, c.got, strings.Join(c.of, ", "))
		}
	}
	if o.threads < 1 {
		return fmt.Errorf("--threads %d: want at least one", o.threads)
	}
	if _, ok := season.GateNamed(o.gate); !ok {
		return fmt.Errorf("--gate %q: want one of %s", o.gate, strings.Join(season.GateNames(), ", "))
	}
	return nil
}

// play plays one night or a season.
func (o *seasonOptions) play(ctx context.Context, s streams, table *season.Table) (err error) {
	dir, err := season.Memory()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	rigs, err := season.NewRigs()
	if err != nil {
		return err
	}
	if o.last == 0 {
		gate, _ := season.GateNamed(o.gate)
		rigs.Story = true
		score, err := table.Play(rigs, table.Draw(o.seed, o.wish), gate, dir)
		if err != nil {
			return err
		}
		return season.Tell(s.out, score)
	}
	debug.SetGCPercent(800) // a season makes little that lasts: a tenth of its time
	gates := season.Gates()
	if !o.all {
		gates = gates[:1]
	}
	totals, err := table.Season(ctx, rigs, gates, o.first, o.last, o.wish, o.threads, dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "Practice nights of seeds %d to %d, all invented. Seeds 1 to 999 are there to tune on, 1000000 and up to judge by.\n\n", o.first, o.last)
	if err := season.Print(s.out, totals); err != nil {
		return err
	}
	season.PrintCauses(s.out, totals[0])
	return nil
}
