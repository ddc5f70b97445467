package main

import (
	"fmt"
	"math"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
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

// sleepBound is how long the machine must have slept to be said to have: less is how the two readings differ by themselves. Common
// practice, no source.
const sleepBound = 500 * time.Millisecond

// wallClock watches the machine's clock: the kernel's own bound, the last instant at which it was synchronised, a person's statement
// at the start, jumps of the wall clock against the monotonic one, and sleep, in which the monotonic one stands still.
type wallClock struct {
	kernel func() (synced bool, boundS float64)
	slept  func() time.Duration // since the machine was started
	told   *float64             // seconds, at started

	base time.Time // with its monotonic reading: what the monotonic clock counts from here

	mu      sync.Mutex
	started time.Time // of the person's statement
	last    reading
	good    time.Time
	bound   float64
	jumped  string
	until   time.Duration // monotonic end of a jump's hold
}

// reading is the clocks at one instant.
type reading struct {
	wall  time.Time     // UTC, without a monotonic reading
	mono  time.Duration // since base
	slept time.Duration // since the machine was started
}

// newWallClock begins to watch at an instant: a person's statement (nil: none) is dated so, and a jump or a sleep after it is seen.
func newWallClock(kernel func() (bool, float64), slept func() time.Duration, toldS *float64, now time.Time) *wallClock {
	wall := now.Round(0).UTC()
	return &wallClock{kernel: kernel, slept: slept, told: toldS, base: now, started: wall, last: reading{wall: wall, slept: slept()}}
}

// read is a clockReader. now must carry a monotonic reading, as time.Now's does. It is to be called about every second: a jump
// shows as a difference between two calls.
func (w *wallClock) read(now time.Time) question.Clock {
	return w.at(reading{now.Round(0).UTC(), now.Sub(w.base), w.slept()}) // Sub goes by the monotonic readings
}

// at is what bounds the clock's error at an instant.
func (w *wallClock) at(now reading) question.Clock {
	synced, bound := w.kernel() // before the lock: many ask at once
	w.mu.Lock()
	defer w.mu.Unlock()
	c := question.Clock{KernelSynced: synced, KernelBoundS: bound}
	w.watch(now)
	if synced {
		w.good, w.bound = now.wall, bound
	}
	if !w.good.IsZero() {
		g := w.good
		c.GoodAt, c.GoodBoundS = &g, w.bound
	}
	if w.told != nil {
		t := w.started
		c.ToldAt, c.ToldBoundS = &t, *w.told
	}
	if w.jumped != "" && now.mono < w.until {
		c.Jumped = w.jumped
	}
	return c
}

// watch compares the wall clock with the other two since the last look. A jump voids what was known of the clock before it, and so does
// sleep, over which another clock kept the time. An earlier instant than the last one looked at (two askers at once) says nothing.
func (w *wallClock) watch(now reading) {
	if now.mono < w.last.mono {
		return
	}
	slept := max(0, now.slept-w.last.slept)
	passed := now.mono - w.last.mono + slept
	due := w.last.wall.Add(passed)
	why := ""
	if slept > sleepBound {
		why = sleptWords(slept)
	}
	if d := now.wall.Sub(due).Seconds(); math.Abs(d) > jumpBound+slewPPM*passed.Seconds() {
		if why != "" {
			why += ", and "
		}
		why += fmt.Sprintf("this machine's clock jumped by %+.1f s: it reads %s where %s was due", d, stamp(now.wall), stamp(due))
	}
	if why != "" {
		w.jumped, w.until = why, now.mono+jumpHold
		w.good, w.told = time.Time{}, nil
	}
	now.slept = max(now.slept, w.last.slept)
	w.last = now
}

func sleptWords(slept time.Duration) string {
	return fmt.Sprintf("this machine slept for %.1f s", slept.Seconds())
}

// sleeper takes all leave back once the machine has slept: nobody watched what happened meanwhile, and what lives by the monotonic clock
// lives on as if no time had passed.
type sleeper struct {
	slept func() time.Duration

	mu   sync.Mutex
	last time.Duration
	wake func(why string) // nil: there is nothing to take back yet
}

func newSleeper(slept func() time.Duration) *sleeper { return &sleeper{slept: slept, last: slept()} }

// look is to be called before anything is answered.
func (s *sleeper) look() {
	s.mu.Lock()
	defer s.mu.Unlock()
	by := s.slept() - s.last
	if by <= sleepBound {
		return
	}
	s.last += by
	if s.wake != nil {
		s.wake(sleptWords(by) + ": nobody watched what happened meanwhile")
	}
}

// waking sets what is done after sleep.
func (s *sleeper) waking(wake func(why string)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wake = wake
}

func stamp(t time.Time) string { return t.Format("2006-01-02 15:04:05 UTC") }

// mostClock is the largest clock error, seconds, that the limits of any rig let pass.
func mostClock(members []decide.Member) float64 {
	most := 0.0
	for _, m := range members {
		if v, known := m.Limits.Value("time/agree", "error_s"); known {
			most = max(most, v)
		}
	}
	return most
}

// clockWords says at the start that the clock as it is holds every question that needs the time; empty: it does not.
func clockWords(c question.Clock, mostS float64) string {
	const do = `
Let it synchronise, or say at the start to how many seconds it is right:
serve --clock-within SECONDS.`
	least := math.Inf(1)
	for _, b := range []struct {
		is bool
		s  float64
	}{{c.KernelSynced, c.KernelBoundS}, {c.GoodAt != nil, c.GoodBoundS}, {c.ToldAt != nil, c.ToldBoundS}} {
		if b.is {
			least = min(least, b.s)
		}
	}
	switch {
	case math.IsInf(least, 1):
		return `
Nothing bounds the error of this machine's clock: it is not synchronised. While
that is so every question that needs the time is a hold.` + do
	case least > mostS:
		return fmt.Sprintf(`
This machine's clock is known only to %.0f s, and %.0f s is the most that passes.
While that is so every question that needs the time is a hold.`, least, mostS) + do
	}
	return ""
}
