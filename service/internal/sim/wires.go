package sim

import (
	"cmp"
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"time"
)

// Methods that askers call.
const (
	ask      = "/keepclear.v1.MotionService/Ask"
	report   = "/keepclear.v1.MotionService/Report"
	withdraw = "/keepclear.v1.MotionService/Withdraw"
	lock     = "/keepclear.v1.LockService/Lock"
	release  = "/keepclear.v1.LockService/Release"
	getRig   = "/keepclear.v1.RigService/GetRig"
)

var errNobody = errors.New("nobody listens there")

// habits are what the network does to a message.
type habits struct {
	lose, double float64 // of messages
	least, most  time.Duration
}

// calm is a local network.
var calm = habits{least: time.Millisecond, most: 8 * time.Millisecond}

// wires is the network between askers and the service.
type wires struct {
	w     *world
	s     *site
	rng   *rand.Rand
	judge *judge
	habit habits
	n     int

	mu   sync.Mutex
	done []answered
}

// answered is a call that came back from the service.
type answered struct {
	n, run int
	at     time.Time // when it came in
	direct bool      // no network lies between
	method string
	raw    []byte
	reply  []byte
	err    error
	got    func([]byte, error)
}

// send sends a request on its way. got is called with what comes back, for each copy that arrives; never, where it is lost. cancelled tells
// the service that its asker no longer waits.
func (x *wires) send(cancelled context.Context, method string, raw []byte, got func(reply []byte, err error)) {
	x.travel(func() { x.arrive(cancelled, method, raw, got) })
}

// travel carries a message, or loses or doubles it.
func (x *wires) travel(arrives func()) {
	copies := 1
	if chance(x.rng, x.habit.double) {
		copies = 2
	}
	for range copies {
		late := between(x.rng, x.habit.least, x.habit.most)
		if !chance(x.rng, x.habit.lose) {
			x.w.in(late, arrives)
		}
	}
}

// arrive hands a request to the service, which answers beside the world.
func (x *wires) arrive(ctx context.Context, method string, raw []byte, got func([]byte, error)) {
	if ctx.Err() != nil { // a call that was given up does not arrive
		return
	}
	if x.s.up == nil {
		x.w.in(time.Millisecond, func() { got(nil, errNobody) })
		return
	}
	x.call(ctx, method, raw, false, got)
}

// call calls the service, which is up.
func (x *wires) call(ctx context.Context, method string, raw []byte, direct bool, got func([]byte, error)) {
	x.n++
	up := x.s.up
	a := answered{n: x.n, run: up.run, at: x.w.now(), direct: direct, method: method, raw: raw, got: got}
	go func() {
		a.reply, a.err = up.server.Call(ctx, method, raw)
		x.mu.Lock()
		x.done = append(x.done, a)
		x.mu.Unlock()
		x.w.wake()
	}()
}

// collect sends what the service answered on its way back, in the order in which it was asked.
func (x *wires) collect() {
	x.mu.Lock()
	done := x.done
	x.done = nil
	x.mu.Unlock()
	slices.SortFunc(done, func(a, b answered) int { return cmp.Compare(a.n, b.n) })
	for _, a := range done {
		if x.s.up == nil || x.s.up.run != a.run {
			continue // the process is gone, and what it would have said with it
		}
		x.judge.left(a)
		if a.direct {
			a.got(a.reply, a.err)
			continue
		}
		x.travel(func() { a.got(a.reply, a.err) })
	}
}
