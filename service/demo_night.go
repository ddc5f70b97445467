package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
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
	mount   *practice.Mount
	camera  *practice.Camera
	handle  *keepclear.Handle
	conn    *grpc.ClientConn
	ended   chan error
	cancel  context.CancelFunc

	counts map[string]int
	wrong  []string
	seen   []witness // every answer, for those who check the numbers
}

// witness is one answer with the question's name.
type witness struct {
	at   time.Time
	what string
	pose rig.Axes // the true axes then
	ask  *pb.AskResponse

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
		Stop: func(context.Context) error { n.mount.Stop(n.clock.Now()); return nil },
	}, keepclear.At(address), keepclear.Asker("demo"), keepclear.Attended(person), keepclear.Practice(), keepclear.Clock(n.clock.Now))
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

func (n *night) sample() (*pb.Sample, error) {
	s, err := n.mount.Sample(n.clock.Now())
	if err != nil {
		return nil, err
	}
	return wire.SampleOf(&s), nil
}

// local is the invented site's time of day.
func local(t time.Time) string { return t.In(time.FixedZone("local", 3600)).Format("15:04") }

// width is that of a narrow terminal.
const width = 80

// say prints text, wrapped, behind an indent.
func (n *night) say(indent int, format string, args ...any) {
	line := strings.Repeat(" ", indent)
	first := true
	for _, w := range strings.Fields(fmt.Sprintf(format, args...)) {
		if !first && len([]rune(line))+1+len([]rune(w)) > width {
			fmt.Fprintln(n.out, line)
			line, first = strings.Repeat(" ", indent), true
		}
		if !first {
			line += " "
		}
		line, first = line+w, false
	}
	fmt.Fprintln(n.out, line)
}

// chapter heads a part of the night.
func (n *night) chapter(title string) {
	fmt.Fprintf(n.out, "\n%s\n%s\n", title, strings.Repeat("-", len([]rune(title))))
}

// step prints the question and its answer, and holds the verdict against the story.
func (n *night) step(asked string, a keepclear.Answer, want keepclear.Verdict) keepclear.Answer {
	n.counts[a.Verdict.String()]++
	n.seen = append(n.seen, witness{at: n.clock.Now(), what: asked, pose: n.mount.Axes(n.clock.Now()), ask: a.Reply})
	n.say(0, "%s  %s", local(n.clock.Now()), asked)
	n.say(7, "%s: %s", strings.ToUpper(a.Verdict.String()), a.Why)
	if a.Help != "" {
		n.say(7, "What to do: %s", a.Help)
	}
	for i, x := range a.AskInstead {
		n.say(7, "%s %s", map[bool]string{true: "Would pass now:", false: "and then ask:"}[i == 0], describe(x))
	}
	if c := a.Reply.GetJudgement().GetClosest(); c != nil && len(c.GetParts()) == 2 {
		n.say(7, "Closest on the way: %s and %s, %.0f mm (%.0f mm wanted).", c.GetParts()[0], c.GetParts()[1], c.GetLowerMm(), c.GetRequiredMm())
	}
	if a.Verdict != want {
		n.wrong = append(n.wrong, fmt.Sprintf("%s %s: %s where %s was due: %s", local(n.clock.Now()), asked, a.Verdict, want, a.Why))
	}
	return a
}

// move runs an allowed motion on the mount: start is told to begin it; the clock then goes on to its end, with a sample every few
// seconds, as a program would send them.
func (n *night) move(a keepclear.Answer, start func(at time.Time)) {
	done := a.Move(n.ctx, func(context.Context, *pb.Permit) error {
		start(n.clock.Now())
		for n.mount.Moving(n.clock.Now()) {
			n.clock.to(n.clock.Now().Add(3 * time.Second))
			if err := n.report(&pb.ReportRequest{}); err != nil {
				return err
			}
		}
		n.clock.to(n.clock.Now().Add(2 * time.Second))
		return nil
	})
	if a.Verdict == keepclear.Allow && done.String() != "done" {
		n.wrong = append(n.wrong, local(n.clock.Now())+" a motion ended otherwise: "+done.String())
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

// tell reports an event and prints what it did.
func (n *night) tell(what string, r *pb.ReportRequest) {
	n.say(0, "%s  %s", local(n.clock.Now()), what)
	s, err := n.sample()
	if err == nil {
		r.Sample = s
	}
	out, err := n.handle.Report(n.ctx, r)
	if err != nil {
		n.wrong = append(n.wrong, what+": "+err.Error())
		return
	}
	for _, f := range out.GetFindings() {
		n.say(7, "%s", f.GetSentence())
	}
}

// pass lets time go by, with a sample every minute, as a program that images would send them.
func (n *night) pass(until time.Time) {
	for n.clock.Now().Before(until) {
		next := n.clock.Now().Add(time.Minute)
		if next.After(until) {
			next = until
		}
		n.clock.to(next)
		if err := n.report(&pb.ReportRequest{}); err != nil {
			n.wrong = append(n.wrong, "a sample was refused: "+err.Error())
			return
		}
	}
}
