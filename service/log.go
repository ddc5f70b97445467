package main

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// lineWithin is how long one line of the log may take to be written before the service goes on without it. Choice: long for a pipe that is read, short
// for an asker.
const lineWithin = 100 * time.Millisecond

// patient writes the lines of a log for as long as somebody takes them. Where a write does not end (a pipe that nobody reads) the service goes on
// without: lines are left out until it does, and their number is told then. Lines must come one after the other, as a logger's do: of two at
// once one is left out.
type patient struct {
	to    io.Writer
	after func(time.Duration) <-chan time.Time

	turn chan struct{} // holds one while a line is being written
	mu   sync.Mutex
	lost int // lines left out since the last one written
}

func newPatient(to io.Writer, after func(time.Duration) <-chan time.Time) *patient {
	return &patient{to: to, after: after, turn: make(chan struct{}, 1)}
}

// Write writes one line; what was left out is no error, for nobody could be told.
func (p *patient) Write(line []byte) (int, error) {
	select {
	case p.turn <- struct{}{}:
	default:
		p.mu.Lock()
		defer p.mu.Unlock()
		p.lost++
		return len(line), nil
	}
	text := append(p.missed(), line...) // a copy: the caller may use its own again
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer func() { <-p.turn }()
		_, _ = p.to.Write(text)
	}()
	select {
	case <-done:
	case <-p.after(lineWithin):
	}
	return len(line), nil
}

// missed is the line that tells of those left out; nil: none was.
func (p *patient) missed() []byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.lost == 0 {
		return nil
	}
	n := p.lost
	p.lost = 0
	return fmt.Appendf(nil, "level=WARN msg=\"lines of this log are left out, as nobody read it\" lines=%d\n", n)
}
