package sim

import (
	"container/heap"
	"crypto/sha256"
	"fmt"
	"hash"
	"math/rand/v2"
	"strings"
	"time"
)

// Bubble is the clock of a night, which runs in a bubble of testing/synctest: the functions of the package time there, and
// synctest.Wait.
type Bubble struct {
	Now   func() time.Time
	Sleep func(time.Duration)
	After func(time.Duration) <-chan time.Time
	Wait  func()
	// Lent is any instant that was read outside of every bubble: within one none has a monotonic reading, and the service's own have.
	Lent time.Time
}

// event is something that happens at an instant; of two at one instant the one that was planned first comes first.
type event struct {
	at time.Time
	n  int
	do func()
}

type events []event

func (q events) Len() int { return len(q) }
func (q events) Less(i, j int) bool {
	return q[i].at.Before(q[j].at) || q[i].at.Equal(q[j].at) && q[i].n < q[j].n
}
func (q events) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push is heap's.
func (q *events) Push(x any) { *q = append(*q, x.(event)) }

// Pop is heap's.
func (q *events) Pop() any {
	last := len(*q) - 1
	e := (*q)[last]
	*q = (*q)[:last]
	return e
}

// world is one night: the queue of events, and its history.
type world struct {
	bubble Bubble
	shift  time.Duration // true time less the bubble's
	start  time.Time
	queue  events
	n      int
	woken  chan struct{} // a call was answered
	after  func()        // done after each event, once all is still

	digest  hash.Hash
	keep    bool // the lines of the history, too
	lines   []string
	wrong   []string // what was found
	endless int
}

func newWorld(b Bubble, start time.Time, keep bool) *world {
	return &world{bubble: b, shift: start.Sub(b.Now()), start: start, woken: make(chan struct{}, 1), digest: sha256.New(), keep: keep}
}

// now is the true time, with a monotonic reading.
func (w *world) now() time.Time {
	now := w.bubble.Now().Add(w.shift).Round(0)
	return w.bubble.Lent.Add(now.Sub(w.bubble.Lent.Round(0)))
}

// in plans something for later.
func (w *world) in(d time.Duration, do func()) { w.at(w.now().Add(d), do) }

func (w *world) at(t time.Time, do func()) {
	w.n++
	heap.Push(&w.queue, event{t, w.n, do})
}

// say adds a line to the history.
func (w *world) say(format string, args ...any) {
	line := w.now().Sub(w.start).Round(time.Millisecond).String() + " " + strings.ReplaceAll(fmt.Sprintf(format, args...), "\n", " | ")
	_, _ = w.digest.Write([]byte(line + "\n")) // a hash never fails
	if w.keep {
		w.lines = append(w.lines, line)
	}
}

// broken notes what must not be.
func (w *world) broken(format string, args ...any) {
	what := fmt.Sprintf(format, args...)
	w.say("WRONG: %s", what)
	w.wrong = append(w.wrong, w.now().Sub(w.start).Round(time.Second).String()+": "+what)
}

// most bounds the events of a night: an endless one is a fault of the simulation.
const most = 200_000

// run takes events until an instant.
func (w *world) run(until time.Time) {
	for len(w.queue) > 0 && !w.queue[0].at.After(until) {
		if w.endless++; w.endless > most || len(w.wrong) > 20 {
			w.broken("the night does not end: %d events", w.endless)
			return
		}
		if d := w.queue[0].at.Sub(w.now()); d > 0 {
			select {
			case <-w.bubble.After(d):
			case <-w.woken:
			}
			w.still()
			continue
		}
		e := heap.Pop(&w.queue).(event)
		e.do()
		w.still()
	}
}

// still waits until nothing runs any more.
func (w *world) still() {
	w.bubble.Wait()
	w.after()
}

// wake lets the world look at what was answered.
func (w *world) wake() {
	select {
	case w.woken <- struct{}{}:
	default:
	}
}

// chance throws a coin.
func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }

// between draws a length of time.
func between(rng *rand.Rand, least, most time.Duration) time.Duration {
	return least + time.Duration(rng.Int64N(int64(most-least)+1))
}
