package sim

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rpc"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/wire"
)

// cells is the work budget of each proof: less than the service's own, as in the scripted nights.
const cells = 20_000

// logZeros is what a log begins with, bytes: as long as the store makes it on a disk of the kernel's.
const logZeros = 1280 << 10

// hurry is by how much a flusher lets everything else go first, at least, so that what goes to disk together does so every time.
const hurry = time.Microsecond

// site is the service's machine and the service on it.
type site struct {
	w       *world
	rng     *rand.Rand
	path    string
	drive   *faults.Drive
	members []decide.Member
	checker *wire.Checker
	breaks  Breaks
	wall    time.Duration // the wall clock less the true one
	gathers time.Duration // for so long the flusher lets entries come together: what is rare on a quick disk is not here
	every   uint64        // entries between two state entries: a night has far fewer than the design's thousand
	ids     int
	starts  int
	boots   int       // of the machine
	booted  time.Time // when it was started the last time

	orders orders
	up     *service // nil: down
	ending int      // services that still shut down
}

// service is one process of it.
type service struct {
	rec    *record.Record
	d      *decide.Decider
	server *rpc.Server
	clock  *wallClock
	run    int
}

// orders are what the disk does, beside working. They are read under a lock: connections that read do so beside the flusher.
type orders struct {
	mu     sync.Mutex
	mode   faults.Fate   // of every operation below, for a while
	on     []faults.Op   // which
	left   int           // how many of them; 0: till further notice
	slow   time.Duration // every sync takes so long
	dieIn  int           // 0: never; else the process ends at that operation that changes the disk
	dieAt  faults.Fate
	silent bool // syncs of the log lie
}

// fate is the drive's.
func (s *site) fate(op faults.Op, file string) faults.Fate {
	o := &s.orders
	o.mu.Lock()
	fate, slow := o.next(op, strings.HasSuffix(file, "-wal"))
	o.mu.Unlock()
	if slow > 0 {
		s.w.bubble.Sleep(slow)
	}
	return fate
}

// next decides one operation. Requires the lock.
func (o *orders) next(op faults.Op, log bool) (faults.Fate, time.Duration) {
	if op == faults.Writing || op == faults.Syncing || op == faults.Truncating {
		if o.dieIn > 0 {
			if o.dieIn--; o.dieIn == 0 {
				return o.dieAt, 0
			}
		}
	}
	if o.mode != faults.Works && contains(o.on, op) {
		if o.left > 0 {
			if o.left--; o.left == 0 {
				mode := o.mode
				o.mode = faults.Works
				return mode, 0
			}
		}
		return o.mode, 0
	}
	if op == faults.Syncing {
		if o.silent && log {
			return faults.Lies, o.slow
		}
		return faults.Works, o.slow
	}
	return faults.Works, 0
}

func contains(ops []faults.Op, op faults.Op) bool {
	for _, o := range ops {
		if o == op {
			return true
		}
	}
	return false
}

// order changes what the disk does.
func (s *site) order(change func(*orders)) {
	s.orders.mu.Lock()
	defer s.orders.mu.Unlock()
	change(&s.orders)
}

func newSite(w *world, rng *rand.Rand, path string, members []decide.Member, breaks Breaks) (*site, error) {
	s := &site{w: w, rng: rng, path: path, members: members, breaks: breaks, booted: w.now()}
	var err error
	if s.checker, err = wire.NewChecker(); err != nil {
		return nil, err
	}
	if s.drive, err = faults.NewDrive(); err != nil {
		return nil, err
	}
	s.drive.Fate = s.fate
	s.gathers = []time.Duration{hurry, hurry, 3 * time.Millisecond, 400 * time.Millisecond}[rng.IntN(4)]
	s.every = []uint64{5, 20, 60, record.StateEvery}[rng.IntN(4)]
	return s, os.WriteFile(path, nil, 0o600) // the store looks for a file there
}

// now is the service's clock.
func (s *site) now() time.Time { return faults.SetWall(s.w.now(), s.wall) }

// runs is for how long the machine had run at an instant.
func (s *site) runs(at time.Time) *question.Uptime {
	return &question.Uptime{Boot: fmt.Sprint("boot-", s.boots), For: s.w.now().Sub(s.booted) - s.now().Sub(at)}
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// start starts the service. An error is the service's own: the disk may have failed.
func (s *site) start() error {
	s.starts++
	up := &service{run: s.starts, clock: &wallClock{base: s.now()}}
	up.clock.lastWall = up.clock.base.Round(0)
	var d *decide.Decider
	rec, err := record.Open(s.path, record.Options{
		State:    func(chain string, on record.Head) []byte { return d.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error { return s.reopened(d) },
		Gather:   func() { s.w.bubble.Sleep(s.gathers) },
		After:    s.w.bubble.After, StateEvery: s.every,
		Store: store.Options{Wrap: s.drive.Wrap(s.path)},
	})
	if err != nil {
		return err
	}
	s.drive.Zero(s.path+"-wal", logZeros)
	d, err = decide.New(decide.Parts{
		Record: rec, Members: s.members, Moment: moment, Now: s.now, Clock: up.clock.read, Up: s.runs, Cells: cells,
		NewID:  func() string { s.ids++; return fmt.Sprintf("id-%06d", s.ids) },
		Encode: rpc.Encode(s.rig),
	})
	if err == nil && !s.breaks.ForgetsToWithdraw {
		err = d.WithdrawAfterRestart()
	}
	if err != nil {
		_ = rec.Close()
		return err
	}
	up.rec, up.d = rec, d
	up.server = rpc.New(rpc.Parts{
		Decider: d, Record: rec, Checker: s.checker, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Rules: func(string) (*pb.ListRulesResponse, error) { return &pb.ListRulesResponse{}, nil },
		CheckFile: func(context.Context, *pb.CheckRigRequest) (*pb.CheckRigResponse, error) {
			return &pb.CheckRigResponse{}, nil
		},
		Gauges: func(string, func() bool) (*gauge.Subject, gauge.Plan, error) {
			return nil, gauge.Plan{}, decide.ErrNoRig
		},
		Heartbeat: time.Minute, After: s.w.bubble.After,
	})
	s.up = up
	s.order(func(o *orders) { o.silent = s.breaks.DiskLies })
	return nil
}

// reopened is what main does once the file is open again: what was taken back meanwhile is not on record, so all of it is. One rig
// after the other, so that their entries follow each other every time.
func (s *site) reopened(d *decide.Decider) error {
	if err := d.Refold(); err != nil {
		return err
	}
	for _, m := range s.members {
		d.Withdraw(m.Rig.ID, decide.Ourselves, "the record was down: what happened meanwhile is not on it", state.Exchanged{})
		s.w.bubble.Sleep(hurry)
	}
	return nil
}

func (s *site) rig(name string) (*rig.Rig, bool) {
	for _, m := range s.members {
		if m.Rig.ID == name {
			return m.Rig, true
		}
	}
	return nil, false
}

// end shuts a process down, in the background: with a disk that is dead to it after a kill, with a last flush after a stop.
func (s *site) end() {
	up := s.up
	if up == nil {
		return
	}
	s.up = nil
	s.ending++
	go func() {
		_ = up.rec.Close()
		over, cancel := context.WithCancel(context.Background())
		cancel()
		_ = up.server.Serve(over, deaf{make(chan struct{})}) // what was asked comes to its end
		s.orders.mu.Lock()
		defer s.orders.mu.Unlock()
		s.ending--
	}()
}

// deaf is a listener that nobody reaches.
type deaf struct{ closed chan struct{} }

// Accept waits for the end.
func (d deaf) Accept() (net.Conn, error) { <-d.closed; return nil, net.ErrClosed }

// Close ends it.
func (d deaf) Close() error { close(d.closed); return nil }

// Addr is none.
func (d deaf) Addr() net.Addr { return &net.UnixAddr{Name: "nowhere"} }

// quiet tells whether every process that was ended is gone.
func (s *site) quiet() bool {
	s.orders.mu.Lock()
	defer s.orders.mu.Unlock()
	return s.ending == 0
}

// failing tells whether operations of the disk fail now.
func (s *site) failing() bool {
	s.orders.mu.Lock()
	defer s.orders.mu.Unlock()
	return s.orders.mode != faults.Works
}

// round is the service's own round.
func (s *site) round() {
	if up := s.up; up != nil {
		up.clock.read(s.now())
		go up.server.Every()
	}
}

// wallClock sees when the wall clock was set, as main's does: a difference of the two hands between two looks.
type wallClock struct {
	mu       sync.Mutex
	base     time.Time
	lastWall time.Time
	lastMono time.Duration
	jumped   string
	until    time.Duration
}

// read tells what bounds the clock's error.
func (c *wallClock) read(now time.Time) question.Clock {
	c.mu.Lock()
	defer c.mu.Unlock()
	wall, mono := now.Round(0), now.Sub(c.base)
	if mono >= c.lastMono {
		if d := wall.Sub(c.lastWall) - (mono - c.lastMono); d.Abs() > 2*time.Second {
			c.jumped, c.until = fmt.Sprintf("this machine's clock jumped by %s", d), mono+time.Minute
		}
		c.lastWall, c.lastMono = wall, mono
	}
	out := question.Clock{KernelSynced: true, KernelBoundS: 0.02}
	if c.jumped != "" && mono < c.until {
		out.Jumped = c.jumped
	}
	return out
}
