package rpc

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

const (
	// refusedAtOnce is how many refusals in a row one asker gets of one rig as fast as it asks. Common practice, no source: more targets than anybody
	// goes through by asking.
	refusedAtOnce = 300
	// refusedApart is what lies between those after them: some 200 MB of record an hour in the place of 17 GB, and a change is still seen at once.
	refusedApart = 100 * time.Millisecond
	// refusedForgotten is a pause after which a run is over.
	refusedForgotten = 10 * time.Second
	// mostPaced bounds how long one question waits, however many its asker sent and gave up before it: none may grow old before it is judged.
	mostPaced = time.Second
	// mostWaiting is how many questions of one asker about one rig wait at once, and mostWaitingInAll of all: each holds one of the places (mostJudged)
	// that others need, and names are free. More are refused at once. Choices: more than a program sends side by side, and an eighth of the places.
	mostWaiting, mostWaitingInAll = 4, mostJudged / 8
	// mostRuns bounds how many runs are remembered: names are free.
	mostRuns = 1024
)

// Pace slows an asker that asks on and on what is refused. Each answer has an entry of its own, and a program's loop without a pause would fill a disk in a
// night: then no rig of the site gets leave. It slows neither reports nor taking leave back, and one allow, or a pause, ends it. It refuses only what comes while
// mostWaiting wait already, and that has no entry.
type Pace struct {
	// Now is a clock that never steps back.
	Now func() time.Time

	lock    sync.Mutex
	runs    map[asker]*refusals
	waiting int // questions that wait, of all runs
}

// refusals is a run of questions of one asker about one rig of which none was allowed.
type refusals struct {
	count int
	last  time.Time // when the last of them was answered
	next  time.Time // when the next may be judged

	waiting int // questions that wait
}

// turn is when a question may be judged.
type turn struct {
	wait  time.Duration // before it is
	began bool          // it is the first of its run to which a pace is set
	full  bool          // as many as may wait already: it is refused
	run   *refusals     // in which it waits; nil: it does not
}

// due is the turn of a question; one that waits gives its place up afterwards (leave).
func (p *Pace) due(of asker) turn {
	if p == nil {
		return turn{}
	}
	now := p.Now()
	p.lock.Lock()
	defer p.lock.Unlock()
	r := p.runs[of]
	if r == nil || r.count < refusedAtOnce {
		return turn{}
	}
	if now.Sub(r.last) >= refusedForgotten {
		delete(p.runs, of)
		return turn{}
	}
	t := turn{began: r.next.IsZero()}
	if !r.next.After(now) {
		r.next = now.Add(refusedApart)
		return t
	}
	if r.waiting >= mostWaiting || p.waiting >= mostWaitingInAll {
		return turn{full: true}
	}
	t.run, t.wait = r, min(r.next.Sub(now), mostPaced)
	r.next = now.Add(t.wait + refusedApart)
	r.waiting++
	p.waiting++
	return t
}

// leave gives up the place of a question that waited.
func (p *Pace) leave(t turn) {
	if t.run == nil {
		return
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	t.run.waiting--
	p.waiting--
}

// note takes in how a question was answered for the first time.
func (p *Pace) note(of asker, allowed bool) {
	if p == nil {
		return
	}
	now := p.Now()
	p.lock.Lock()
	defer p.lock.Unlock()
	if allowed {
		delete(p.runs, of)
		return
	}
	r := p.runs[of]
	if r == nil || now.Sub(r.last) >= refusedForgotten {
		if r == nil && len(p.runs) >= mostRuns {
			p.drop(now)
		}
		r = &refusals{}
		if p.runs == nil {
			p.runs = map[asker]*refusals{}
		}
		p.runs[of] = r
	}
	r.count++
	r.last = now
}

// drop forgets the runs that are over, and where none is, the shortest. Requires the lock.
func (p *Pace) drop(now time.Time) {
	var least asker
	count := math.MaxInt
	for of, r := range p.runs {
		if now.Sub(r.last) >= refusedForgotten {
			delete(p.runs, of)
		} else if r.count < count {
			least, count = of, r.count
		}
	}
	if len(p.runs) >= mostRuns {
		delete(p.runs, least)
	}
}

// paced lets a question wait for its pace; a stop, and its asker's going, end that. It tells whether it waited, and an error where nothing was begun: the asker
// went, or as many as may wait already.
func (s *Server) paced(ctx context.Context, m *pb.AskRequest) (waited bool, err error) {
	of := asker{m.GetRig(), m.GetAsker()}
	t := s.Pace.due(of)
	defer s.Pace.leave(t)
	if t.began {
		s.log.Warn("an asker asks on and on what is refused: its questions are judged ten a second at most, until one is allowed or it pauses; four wait at most, and what comes beside them is refused and not put on record",
			"rig", of.rig, "asker", of.name, "refused in a row", refusedAtOnce)
	}
	if t.full {
		return false, failure(codes.ResourceExhausted, pb.ErrorReason_ERROR_REASON_TOO_MUCH, fmt.Sprintf(
			"it was not begun: %d questions in a row of this asker were refused, and as many as may wait do; wait for each answer before the next is asked, and ask for something else, or pause for %s",
			refusedAtOnce, refusedForgotten), later())
	}
	if t.wait <= 0 {
		return false, nil
	}
	s.judging.Add(-1) // who waits keeps no other work from the processor
	defer s.judging.Add(1)
	select {
	case <-s.After(t.wait):
	case <-s.serving.Done():
	case <-ctx.Done():
		return true, neverBegan(ctx, "its asker had asked on and on what is refused, and did not wait")
	}
	return true, nil
}
