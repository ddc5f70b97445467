package rpc

import (
	"context"
	"sync"
	"time"

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
	// mostPaced bounds how long one question waits, however many its asker sends side by side: none may grow old before it is judged.
	mostPaced = 2 * time.Second
	// mostRuns bounds how many runs are remembered: names are free.
	mostRuns = 1024
)

// Pace slows an asker that asks on and on what is refused. Each answer has an entry of its own, and a program's loop without a pause would fill a disk in a
// night: then no rig of the site gets leave. It never refuses, it slows neither reports nor taking leave back, and one allow, or a pause, ends it.
type Pace struct {
	// Now is a clock that never steps back.
	Now func() time.Time

	lock sync.Mutex
	runs map[asker]*refusals
}

// refusals is a run of questions of one asker about one rig of which none was allowed.
type refusals struct {
	count int
	last  time.Time // when the last of them was answered
	next  time.Time // when the next may be judged
}

// due is how long a question waits before it is judged; began tells that it is the first of its run to wait.
func (p *Pace) due(of asker) (wait time.Duration, began bool) {
	if p == nil {
		return 0, false
	}
	now := p.Now()
	p.lock.Lock()
	defer p.lock.Unlock()
	r := p.runs[of]
	if r == nil || r.count < refusedAtOnce {
		return 0, false
	}
	if now.Sub(r.last) >= refusedForgotten {
		delete(p.runs, of)
		return 0, false
	}
	began = r.next.IsZero()
	at := now
	if r.next.After(now) {
		at = r.next
	}
	if at.Sub(now) > mostPaced {
		at = now.Add(mostPaced)
	}
	r.next = at.Add(refusedApart)
	return at.Sub(now), began
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
	count := refusedAtOnce * mostRuns
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

// paced lets a question wait for its pace; a stop, and its asker's going, end that. It tells whether it waited, and an error where the asker went: nothing was begun.
func (s *Server) paced(ctx context.Context, m *pb.AskRequest) (waited bool, err error) {
	of := asker{m.GetRig(), m.GetAsker()}
	wait, began := s.Pace.due(of)
	if began {
		s.log.Warn("an asker asks on and on what is refused: its questions are judged ten a second at most, until one is allowed or it pauses",
			"rig", of.rig, "asker", of.name, "refused in a row", refusedAtOnce)
	}
	if wait <= 0 {
		return false, nil
	}
	s.judging.Add(-1) // who waits keeps no other work from the processor
	defer s.judging.Add(1)
	select {
	case <-s.After(wait):
	case <-s.serving.Done():
	case <-ctx.Done():
		return true, neverBegan(ctx, "its asker had asked on and on what is refused, and did not wait")
	}
	return true, nil
}
