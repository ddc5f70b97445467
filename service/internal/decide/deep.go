package decide

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// stackBytes is about what judging a question takes of its goroutine's stack.
const stackBytes = 40 << 10

// deepen makes the stack of a new goroutine deep enough at once. Grown as needed it is copied three to five times on the way, frame by
// frame: 5 % of an answer's processor time.
//
//go:noinline
func deepen(i int) byte {
	var room [stackBytes]byte
	return room[i]
}

// Panicked is what a panic while a question was judged arrives as where it was asked.
type Panicked struct {
	What  any
	Stack []byte // of where it was
}

// String is what was panicked with.
func (p Panicked) String() string { return fmt.Sprint(p.What) }

// onDeepStack runs f on a goroutine of its own, which ends with it: who waits for the disk afterwards holds no deep stack meanwhile. A panic of f is a
// Panicked here.
func onDeepStack(f func()) {
	ended := make(chan *Panicked)
	go func() {
		how := &Panicked{} // where f ends the goroutine itself
		defer func() {
			if p := recover(); p != nil {
				how = &Panicked{p, debug.Stack()}
			}
			ended <- how
		}()
		deepen(0)
		f()
		how = nil
	}()
	switch how := <-ended; {
	case how == nil:
	case how.What == nil:
		runtime.Goexit()
	default:
		panic(*how)
	}
}
