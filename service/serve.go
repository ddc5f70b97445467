package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rpc"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/wire"
)

// defaultAddress is where the service listens and clients look: this machine alone.
const defaultAddress = "127.0.0.1:7413"

// heartbeat is how often a follower of the record hears that its stream lives.
const heartbeat = 5 * time.Second

// caution is said at every start (design, section 16).
const caution = `Moving telescopes crush fingers and break equipment; looking at or passing the
Sun blinds and burns. keepclear advises other programs and can fail: keep limit
switches, clutches, fuses and an emergency stop that do not depend on it. Nobody
stops a mount whose program died. Try every new limit slowly, with a hand on the
power switch. It is no safety function (ISO 13849-1, IEC 61508); electrical work
and machine safety follow local codes and licensed practice.`

// startGC is Go's GC percent until the first rig's rules are proven: nearly all of what is made until then stays or is soon given back (proveRules), and
// to look through it was a quarter of the processor time until the first answer. With 64 rigs 37 MB are made: with 1600 a cycle begins at 64.
const (
	startGC    = 1600
	ordinaryGC = 100 // Go's own
	// startBytes is beyond what a start takes with a short record. With 64 rigs of 950 entries the percentage alone let it grow to 584-973 MB; with
	// this it takes 165-174, and as long.
	startBytes = 128 << 20
)

// serveOptions are the flags of serve.
type serveOptions struct {
	rigs, record, practice, listen string
	clockWithinS                   float64
	files                          []rigFile                     // of the rigs, in their order
	onDisk                         *diskWatch                    // what of them is another one now; nil: nothing is looked at
	facility                       *limits.Layer                 // limits of the rigs' folder; nil: none
	checker                        func() (*wire.Checker, error) // nil: wire.NewChecker
	opening                        *opening                      // of the record; nil: not begun
}

// serve answers questions until the process is told to stop.
func serve(ctx context.Context, s streams, args []string) int {
	o, err := serveFlags(s, args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		return exitUsage
	}
	signal.Ignore(syscall.SIGPIPE) // who read what is said here may go: answering goes on
	settle := func() {}
	if os.Getenv("GOGC") == "" { // who set it knows this machine
		debug.SetGCPercent(startGC)
		was := debug.SetMemoryLimit(-1)
		debug.SetMemoryLimit(min(was, startBytes))
		settle = func() { debug.SetGCPercent(ordinaryGC); debug.SetMemoryLimit(was) }
	}
	sv, err := newService(s, o)
	if err != nil {
		fmt.Fprintf(s.err, "keepclear does not start:\n%v\n", err)
		return exitCheck
	}
	defer sv.close()
	sv.settle = settle
	fmt.Fprintf(s.out, "%s\n\nkeepclear answers on %s,\n  rigs: %s\n  record: %s\n",
		caution, sv.listener.Addr(), strings.Join(sv.decider.Rigs(), ", "), o.record)
	if o.practice != "" {
		fmt.Fprintln(s.out, practiceWords)
	}
	for _, line := range sv.notices {
		fmt.Fprintln(s.out, line)
	}
	if words := clockWords(sv.clock, sv.mostClockS); words != "" {
		fmt.Fprintln(s.out, words)
	}
	sv.tell("The service begins, for " + strings.Join(sv.decider.Rigs(), ", ") + ".")
	if err := sv.run(ctx); err != nil {
		sv.tell("The service stops: " + err.Error() + ".")
		fmt.Fprintf(s.err, "keepclear stopped: %v\n", err)
		return exitCheck
	}
	sv.tell("The service stops.")
	fmt.Fprintln(s.out, "keepclear stopped; everything answered is on record.")
	return exitDone
}

// serveFlags reads the flags. Defaults keep everything in the user's own configuration folder and on this machine.
func serveFlags(s streams, args []string) (serveOptions, error) {
	base, err := os.UserConfigDir()
	if err != nil {
		base = "."
	}
	home := filepath.Join(base, "keepclear")
	var o serveOptions
	f := flag.NewFlagSet("serve", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = f.PrintDefaults // how the command is used is said before
	f.StringVar(&o.rigs, "rigs", filepath.Join(home, "rigs"), "folder of rig files")
	f.StringVar(&o.record, "record", "", "record file; made if absent (default "+filepath.Join(home, "record.keepclear")+"; with --practice, "+filepath.Join(home, "practice.keepclear")+")")
	f.StringVar(&o.practice, "practice", "", "serve a simulated rig instead of --rigs: heron")
	f.StringVar(&o.listen, "listen", defaultAddress, "address on this machine")
	f.Float64Var(&o.clockWithinS, "clock-within", 0, "a person's statement, at the start: this machine's clock is right to so many seconds")
	if err := f.Parse(args); err != nil {
		return o, err
	}
	given := map[string]bool{}
	f.Visit(func(x *flag.Flag) { given[x.Name] = true })
	if wrong := o.wrong(given, f.Args()); wrong != "" {
		fmt.Fprintln(s.err, wrong)
		return o, errors.New("usage")
	}
	if o.record == "" {
		o.record = filepath.Join(home, map[bool]string{true: "practice.keepclear", false: "record.keepclear"}[o.practice != ""])
	}
	return o, nil
}

// wrong says what of the flags cannot be meant; empty: nothing.
func (o *serveOptions) wrong(given map[string]bool, words []string) string {
	switch {
	case len(words) > 0:
		return fmt.Sprintf("serve takes no argument %q", words[0])
	case given["record"] && o.record == "":
		return "--record: want a file; leave the flag out for the one that serve makes by itself"
	case given["rigs"] && o.rigs == "":
		return "--rigs: want a folder; leave the flag out for the one that serve takes by itself"
	case given["practice"] && given["rigs"]:
		return "serve takes --practice or --rigs, not both: a practice rig never stands among real ones"
	case given["clock-within"] && !(o.clockWithinS > 0 && o.clockWithinS <= mostClockS):
		return fmt.Sprintf("--clock-within %g: want seconds, above 0 and at most %d", o.clockWithinS, mostClockS)
	}
	return ""
}

// mostClockS bounds what a person may state of the clock: beyond an hour it says nothing that a limit could pass.
const mostClockS = 3600

// service is a running service and what it is made of.
type service struct {
	record   *record.Record
	decider  *decide.Decider
	server   *rpc.Server
	listener net.Listener
	log      *slog.Logger
	settle   func()         // is called once when what the first answers need is made; nil: nothing is
	look     func()         // looks at the clock, so that a jump is seen when it happens
	clock    question.Clock // as it was at the start
	notices  []string       // what a person should look at again, a line for each rig file
	// mostClockS is the largest clock error, seconds, that the limits of any rig let pass.
	mostClockS float64
	tasks      []func(context.Context) error // that run beside the server until it ends
}

// newService makes every part; on an error nothing is left open.
func newService(s streams, o serveOptions) (*service, error) {
	o.checker = sync.OnceValues(wire.NewChecker)
	var beside sync.WaitGroup
	o.opening = openBeside(o.record, &beside)
	beside.Go(func() { _, _ = o.checker() }) // needs nothing of the rigs
	sv, err := servingOf(s, o)
	o.opening.drop()
	beside.Wait()
	return sv, err
}

// servingOf reads the rigs and makes the rest of what serves them.
func servingOf(s streams, o serveOptions) (*service, error) {
	files, facility, err := rigSource(o)
	o.files, o.onDisk = files, watchFiles(files)
	members, bad := newMembers(files, facility)
	if bad == nil {
		bad = unlivedOf(files, members, s.now())
	}
	if err = errors.Join(err, bad); err != nil {
		return nil, err
	}
	o.onDisk.serving(members)
	if o.practice != "" {
		for _, m := range members {
			m.Rig.Practice = true
		}
	}
	if o.practice != "" && o.clockWithinS == 0 {
		o.clockWithinS = practiceClockS
	}
	var told *float64
	if o.clockWithinS > 0 {
		told = &o.clockWithinS
	}
	o.facility, o.files = facility, files
	sv, err := assemble(s, members, o, newWallClock(kernelClock, machineSlept, told, s.now()).read, machineSlept)
	if err == nil && o.practice != "" {
		sv.tasks = append(sv.tasks, newPracticeRig(sv.decider, members[0].Rig, s.err, s.now()).run)
	}
	return sv, err
}

// assemble opens the record and makes decider, server and listener. slept is how long the machine has slept so far.
func assemble(s streams, members []decide.Member, o serveOptions, clock clockReader, slept func() time.Duration) (*service, error) {
	if o.checker == nil {
		o.checker = wire.NewChecker
	}
	checker, err := o.checker()
	if err != nil {
		return nil, err
	}
	listener, err := listenHere(o.listen)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(o.record), 0o700); err != nil {
		return nil, errors.Join(fmt.Errorf("making the folder of the record %s: %w; choose another place with --record", o.record, err), listener.Close())
	}
	sleep := newSleeper(slept)
	now := func() time.Time { sleep.look(); return s.now() } // every request reads the clock before anything else
	open := func() (*keeping, error) { return openRecord(o.record) }
	if o.opening != nil {
		open = o.opening.take
	}
	k, err := open()
	if err == nil {
		err = k.decideOn(o.record, members, now, s.now, clock)
	}
	if err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	rec, d := k.record, k.decider
	sleep.waking(func(why string) { d.Withdraw("", decide.Ourselves, why, state.Exchanged{}) })
	log := slog.New(slog.NewTextHandler(newPatient(s.err, time.After), nil))
	if err := d.Untold(); err != nil {
		log.Warn("revisions", "what", err)
	}
	maps := &survey.Folder{Path: filepath.Join(filepath.Dir(o.record), "maps"), Build: buildDigest(), Fault: func(what error) { log.Warn("maps", "what", what) }}
	if o.onDisk == nil {
		o.onDisk = watchFiles(nil)
	}
	server := rpc.New(rpc.Parts{
		Decider: d, Record: rec, Checker: checker, Log: log,
		Rules: describer(members, o.facility), CheckFile: fileChecker(o.facility, s.now), WhatIf: changer(o.files, members, o.facility), Maps: maps, Gauges: gauger(members, o.files), OnDisk: o.onDisk.changed,
		Heartbeat: heartbeat, After: time.After, Pace: &rpc.Pace{Now: time.Now},
	})
	look := func() { clock(now()) }
	sv := &service{
		record: rec, decider: d, server: server, listener: listener, log: log, look: look,
		clock: clock(s.now()), mostClockS: mostClock(members), notices: slices.Concat(inForce(d), revised(d), recounted(d), toLookAt(members)),
	}
	complete := func(ctx context.Context) error {
		letFirst(ctx, server.Answered())
		return errors.Join(proveRules(ctx, members, sv.settle), checker.Complete())
	} // until rules are proven each is asked by itself, which takes its time on a busy machine; a rarer request compiles its own
	keep := func(ctx context.Context) error {
		letFirst(ctx, server.Answered())
		if err := revisionsOf(o.record).keep(members, o.files); err != nil {
			log.Warn("revisions", "what", err)
		}
		return nil
	}
	sv.tasks = append(sv.tasks, complete, keep, headKeeper(rec, log))
	return sv, nil
}

// firstWithin is how long the first question is waited for with what no answer needs. Choice: who asked for the service to be started and waits for it
// asks within milliseconds.
const firstWithin = 250 * time.Millisecond

// letFirst returns once the first answer was given, none was asked for within a while, or ctx has ended.
func letFirst(ctx context.Context, answered <-chan struct{}) {
	wait := time.NewTimer(firstWithin)
	defer wait.Stop()
	select {
	case <-answered:
	case <-wait.C:
	case <-ctx.Done():
	}
}

// toLookAt says of each rig whose file a person should look at again where to begin: what is proven is only as good as the file.
func toLookAt(members []decide.Member) []string {
	var out []string
	for _, m := range members {
		n := slices.DeleteFunc(slices.Clone(m.Rig.Notices), func(f rig.Find) bool { return f.Info })
		if len(n) > 0 {
			out = append(out, fmt.Sprintf("\nTo look at again in the file of %s: %d (check FILE names all), as\n  %s", m.Rig.ID, len(n), n[0]))
		}
	}
	return out
}

// listenHere listens on a loopback address; anything else needs certificates, which this version does not have.
func listenHere(address string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("--listen %q is no address: want host:port, such as %s", address, defaultAddress)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("--listen %q reaches beyond this machine, and this version speaks no TLS: listen on a loopback address such as %s", address, defaultAddress)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listening on %s: %w (does another keepclear run? choose another with --listen)", address, err)
	}
	if a, ok := l.Addr().(*net.TCPAddr); !ok || !a.IP.IsLoopback() { // a name that this machine's tables send elsewhere
		return nil, errors.Join(fmt.Errorf("--listen %q turned out to be %s, which reaches beyond this machine: listen on %s", address, l.Addr(), defaultAddress), l.Close())
	}
	return l, nil
}

// run serves until ctx ends.
func (sv *service) run(ctx context.Context) error {
	inner, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	tick := time.NewTicker(rpc.Tick)
	wg.Go(func() {
		defer tick.Stop()
		for {
			select {
			case <-inner.Done():
				return
			case <-tick.C:
				sv.look()
				sv.server.Every()
			}
		}
	})
	for _, task := range sv.tasks {
		wg.Go(func() {
			if err := task(inner); err != nil { // the service goes on without it
				sv.log.Error("a task beside the service ended", "why", err)
			}
		})
	}
	err := sv.server.Serve(inner, sv.listener)
	cancel()
	wg.Wait()
	return err
}

// tell puts on record what becomes of the service. Nothing is answered by it, so that a record which is down costs the line alone.
func (sv *service) tell(what string) {
	if err := sv.decider.Tell(what); err != nil {
		sv.log.Warn("record", "what", err)
	}
}

// close gives the record up.
func (sv *service) close() {
	// Serve has closed the listener; what close finds wrong with the record was an error of the last flush, already answered.
	_ = sv.listener.Close()
	_ = sv.record.Close()
}
