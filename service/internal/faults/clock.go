package faults

import (
	"sync"
	"time"
	"unsafe"
)

// Clock is a service's clock whose wall hand steps while its monotonic one goes on, as a machine's does when somebody sets it. Its
// instants carry a monotonic reading as those of time.Now do. Safe for concurrent use.
type Clock struct {
	mu     sync.Mutex
	now    time.Time
	reads  int
	stepAt int // 0: never
	by     time.Duration
}

// NewClock is a clock that reads at first; now, from time.Now, lends it a monotonic reading.
func NewClock(now, first time.Time) *Clock { return &Clock{now: now.Add(first.Sub(now))} }

// Now reads the clock.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.reads++
	if c.reads == c.stepAt {
		c.now = SetWall(c.now, c.by)
	}
	return c.now
}

// Wait lets both hands go on.
func (c *Clock) Wait(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// StepAt lets the wall hand step by so much at the n-th reading from now (1 is the next); 0 at once, unread.
func (c *Clock) StepAt(n int, by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if n == 0 {
		c.now, c.stepAt = SetWall(c.now, by), 0
		return
	}
	c.stepAt, c.by = c.reads+n, by
}

// Reads is how often it was read.
func (c *Clock) Reads() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.reads
}

// wallSecond is one second in the wall word of a time.Time that carries a monotonic reading: nanoseconds take the 30 bits below it.
const wallSecond = 1 << 30

// SetWall moves the wall reading of an instant by whole seconds and leaves its monotonic one, which the package time offers to nobody.
// A test of its own sees whether the layout that it counts on still holds.
func SetWall(t time.Time, by time.Duration) time.Time {
	wall := (*uint64)(unsafe.Pointer(&t)) // the first word: a flag, 33 bits of seconds, 30 bits of nanoseconds
	*wall += uint64(int64(by/time.Second)) * wallSecond
	return t
}
