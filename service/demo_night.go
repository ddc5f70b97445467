package main

import (
	"context"
	"io"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// simClock is the demo's clock: it stands still until somebody advances it.
type simClock struct {
	mu  sync.Mutex
	now time.Time
}

// Now is the simulated instant.
func (c *simClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// to advances the clock, never backwards.
func (c *simClock) to(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.now) {
		c.now = t
	}
}

// night is the demo under way.
type night struct {
	ctx     context.Context
	out     io.Writer
	clock   *simClock
	record  string
	rig     *rig.Rig
	service *service
	handle  *keepclear.Handle
	conn    *grpc.ClientConn
	ended   chan error
	cancel  context.CancelFunc

	mu     sync.Mutex // the client's watch reads the mount while a motion runs
	mount  *practice.Mount
	camera *practice.Camera

	wrong    []string            // what came out otherwise than the story says
	seen     []witness           // every answer, for the summary and for those who check the numbers
	outlooks []*pb.RehearsedStep // of the four targets
}

// witness is one answer with what was true when it was asked for.
type witness struct {
	at      time.Time
	what    string
	pose    rig.Axes // the true axes then
	verdict keepclear.Verdict
	ask     *pb.AskResponse

	target *target         // of a slew to the sky
	solve  *question.Solve // of a sync, with the true axes at mid-exposure
	mid    rig.Axes
}

// person is who attends the invented night.
const person = "R. Alder"

// connect serves, and makes the client that a user would make: a rig, a function that reads and one that stops.
func (n *night) connect(ctx context.Context) {
	n.ctx, n.cancel = context.WithCancel(ctx)
	n.ended = make(chan error, 1)
	go func() { n.ended <- n.service.run(n.ctx) }()
	address := n.service.listener.Addr().String()
	n.handle = keepclear.Rig("heron", keepclear.Mount{
		Read: func(context.Context) (*pb.Sample, error) { return n.sample() },
		Stop: func(context.Context) error { n.order((*practice.Mount).Stop); return nil },
	}, keepclear.At(address), keepclear.Asker("demo"), keepclear.Attended(person), keepclear.Practice(), keepclear.Facts(), keepclear.Clock(n.clock.Now))
	// Loopback, no certificate: NewClient fails only on an address that cannot be read.
	n.conn, _ = grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
}

// close ends client and service.
func (n *night) close() {
	_ = n.handle.Close()
	_ = n.conn.Close()
	n.cancel()
	<-n.ended
	n.service.close()
}

// order gives the mount an order, now.
func (n *night) order(do func(m *practice.Mount, at time.Time)) {
	n.mu.Lock()
	defer n.mu.Unlock()
	do(n.mount, n.clock.Now())
}

// axes are where the mount truly stands, now.
func (n *night) axes() (a rig.Axes) {
	n.order(func(m *practice.Mount, at time.Time) { a = m.Axes(at) })
	return a
}

// sample reads the mount.
func (n *night) sample() (*pb.Sample, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	s, err := n.mount.Sample(n.clock.Now())
	if err != nil {
		return nil, err
	}
	return wire.SampleOf(&s), nil
}

// every is how often a program reports a sample while a motion runs, and between motions.
const (
	everyMoving = 3 * time.Second
	everyStill  = time.Minute
)

// move runs an allowed motion on the mount: start is told to begin it; the clock then goes on to its end, with samples under way, as a
// program would send them.
func (n *night) move(a keepclear.Answer, start func(m *practice.Mount, at time.Time)) {
	done := a.Move(n.ctx, func(context.Context, *pb.Permit) error {
		n.order(start)
		for moving := true; moving; {
			n.clock.to(n.clock.Now().Add(everyMoving))
			if err := n.report(&pb.ReportRequest{}); err != nil {
				return err
			}
			n.order(func(m *practice.Mount, at time.Time) { moving = m.Moving(at) })
		}
		n.clock.to(n.clock.Now().Add(2 * time.Second))
		return nil
	})
	if a.Verdict == keepclear.Allow && done.String() != "done" {
		n.fault("a motion ended otherwise: %s", done)
	}
}

// report sends a report with a fresh sample.
func (n *night) report(r *pb.ReportRequest) error {
	s, err := n.sample()
	if err != nil {
		return err
	}
	r.Sample = s
	_, err = n.handle.Report(n.ctx, r)
	return err
}

// pass lets time go by, with samples, as a program that images would send them.
func (n *night) pass(until time.Time) {
	for n.clock.Now().Before(until) {
		next := n.clock.Now().Add(everyStill)
		if next.After(until) {
			next = until
		}
		n.clock.to(next)
		if err := n.report(&pb.ReportRequest{}); err != nil {
			n.fault("a sample was refused: %v", err)
			return
		}
	}
}

// picture exposes for five seconds and solves; a false one is off by so much, with 19 stars.
func (n *night) picture(off *rig.Axes) *question.Solve {
	if err := n.report(&pb.ReportRequest{}); err != nil {
		n.fault("a sample was refused: %v", err)
	}
	n.clock.to(n.clock.Now().Add(time.Second))
	start := n.clock.Now()
	n.clock.to(start.Add(8 * time.Second)) // five of exposure, three to read and solve
	n.mu.Lock()
	defer n.mu.Unlock()
	v := n.camera.Picture(start, 5*time.Second)
	if off != nil {
		v = n.camera.False(start, 5*time.Second, *off, 19)
	}
	return &v
}

// ofDate is a place in the equinox that the mount understands.
func ofDate(ra, dec unit.Angle, at time.Time) (unit.Angle, unit.Angle, error) {
	m, err := newMoment()(at)
	if err != nil {
		return 0, 0, err
	}
	ra, dec = m.Apparent(frame.FromLonLat[frame.ICRS](ra, dec)).LonLat()
	return ra, dec, nil
}
