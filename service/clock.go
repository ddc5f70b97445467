package main

import (
	"fmt"
	"math"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/question"
)

// clockReader tells what bounds the error of our clock at an instant.
type clockReader = func(now time.Time) question.Clock

// jumpBound is how far the wall clock may walk from the monotonic one between two looks before it counts as set: 2 s and 500 ppm,
// the fastest that a kernel slews. Common practice, no source.
const (
	jumpBound = 2.0
	slewPPM   = 500e-6
)

// jumpHold is how long a jump of the clock holds questions: long enough for a person to see it in the record.
const jumpHold = 60 * time.Second

// wallClock watches the machine's clock: the kernel's own bound, the last instant at which it was synchronised, a person's statement
// at the start, and jumps of the wall clock against the monotonic one.
type wallClock struct {
	kernel func() (synced bool, boundS float64)
	told   *float64 // seconds, at started

	mu      sync.Mutex
	started time.Time // of the person's statement
	last    time.Time // with its monotonic reading
	good    time.Time
	bound   float64
	jumped  string
	until   time.Time // monotonic end of a jump's hold
}

// newWallClock begins to watch at an instant: a person's statement (nil: none) is dated so, and a jump after it is seen.
func newWallClock(kernel func() (bool, float64), toldS *float64, now time.Time) *wallClock {
	return &wallClock{kernel: kernel, told: toldS, started: now, last: now}
}

// read is a clockReader. now must carry a monotonic reading, as time.Now's does. It is to be called about every second: a jump
// shows as a difference between two calls.
func (w *wallClock) read(now time.Time) question.Clock {
	w.mu.Lock()
	defer w.mu.Unlock()
	synced, bound := w.kernel()
	c := question.Clock{KernelSynced: synced, KernelBoundS: bound}
	w.watch(now)
	if synced {
		w.good, w.bound = now, bound
	}
	if !w.good.IsZero() {
		g := w.good.Round(0).UTC()
		c.GoodAt, c.GoodBoundS = &g, w.bound
	}
	if w.told != nil {
		t := w.started.Round(0).UTC()
		c.ToldAt, c.ToldBoundS = &t, *w.told
	}
	if w.jumped != "" && now.Before(w.until) {
		c.Jumped = w.jumped
	}
	return c
}

// watch compares the wall clock with the monotonic one since the last look. A jump voids what was known of the clock before it.
func (w *wallClock) watch(now time.Time) {
	mono := now.Sub(w.last).Seconds() // both carry monotonic readings
	wall := now.Round(0).Sub(w.last.Round(0)).Seconds()
	if d := wall - mono; math.Abs(d) > jumpBound+slewPPM*math.Abs(mono) {
		expected := w.last.Round(0).Add(time.Duration(mono * float64(time.Second)))
		w.jumped = fmt.Sprintf("this machine's clock jumped by %+.1f s: it reads %s where %s was due", d, now.UTC().Format("2006-01-02 15:04:05"), expected.UTC().Format("15:04:05"))
		w.until = now.Add(jumpHold)
		w.good, w.told = time.Time{}, nil
	}
	w.last = now
}
