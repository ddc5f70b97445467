package decide

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

func nilContext() context.Context { return context.Background() }

// Refusals of the same bytes are recorded once a minute, with a count; what is kept to know them is bounded.
const (
	refusalEvery = time.Minute
	mostRefusals = 1000
)

type refusals struct {
	mu   sync.Mutex
	seen map[record.Hash]*refusal
}

type refusal struct {
	at    time.Time
	count int
}

// Refuse records a request that was not understood. A refused report holds its rig until the same asker's next one is understood:
// what it meant is unknown. Anything else stands on the service's chain, found by the rig that it named. It returns once the entry, if one was due, is on disk.
func (d *Decider) Refuse(rigName, asker, why string, isReport bool, at time.Time, digest record.Hash, sent state.Exchanged) error {
	if g := d.groups[rigName]; g != nil && isReport {
		return d.refuseReport(g, asker, why, at, digest, sent)
	}
	count, due := d.refused.due(digest, at)
	if !due {
		return nil
	}
	if d.groups[rigName] == nil {
		rigName = "" // a name that no rig here bears could be anything
	}
	w, err := d.putOfService(entry{
		kind: state.Refused, asker: asker, rig: rigName, sentence: "Refused: " + why, request: Request{Sent: sent}, body: state.Body{Count: count},
	}, at)
	if err != nil {
		return err
	}
	return w.Wait()
}

// Tell puts on record what becomes of the service itself: that it begins, that it stops. Whoever asks later whether a mount moved while nobody watched finds
// it, and where two begin with no end between them, the first broke off. It waits for no flush.
func (d *Decider) Tell(sentence string) error {
	_, err := d.putOfService(entry{kind: state.Service, asker: Ourselves, sentence: sentence}, d.parts.Now())
	if err != nil {
		return fmt.Errorf("putting on record %q: %w", sentence, err)
	}
	return nil
}

// putOfService puts an entry on the service's chain, in a turn of its own.
func (d *Decider) putOfService(e entry, at time.Time) (record.Written, error) {
	d.service.turn.Lock()
	defer d.service.turn.Unlock()
	return d.putGuarded(d.service, e, at)
}

// due counts a refusal and tells whether it is to be recorded now, with how often it came since the last entry.
func (r *refusals) due(digest record.Hash, at time.Time) (count int, due bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	was := r.seen[digest]
	if was != nil && at.Sub(was.at) < refusalEvery && !at.Before(was.at) {
		was.count++
		return was.count, false
	}
	count = 1
	if was != nil {
		count += was.count
	}
	if len(r.seen) >= mostRefusals {
		maps.DeleteFunc(r.seen, func(_ record.Hash, x *refusal) bool { return at.Sub(x.at) >= refusalEvery })
		if len(r.seen) >= mostRefusals {
			return count, false // a flood of different nonsense: bounded here, counted by the server's metrics
		}
	}
	r.seen[digest] = &refusal{at: at}
	return count, true
}

// refuseReport holds a rig whose report was not understood. Leave that waits to be used is dead by then: the report may have said that
// a clutch was opened. The same again is recorded once a minute.
func (d *Decider) refuseReport(g *group, asker, why string, at time.Time, digest record.Hash, sent state.Exchanged) error {
	w, due, err := d.holdBack(g, asker, why, at, digest, sent)
	if err != nil || !due {
		return err
	}
	return w.Wait()
}

// holdBack does all of it that happens in the group's turn; due tells whether there is an entry.
func (d *Decider) holdBack(g *group, asker, why string, at time.Time, digest record.Hash, sent state.Exchanged) (w record.Written, due bool, err error) {
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	news := g.unheard(asker, why)
	if news {
		g.live.Epoch++
		if l := g.live.Leave; liveLeave(l) {
			dead := *l
			dead.Live, dead.Because = false, "a report was not understood"
			g.live.Leave = &dead
		}
		g.setOpen()
	}
	if _, due := d.refused.due(digest, at); !news && !due {
		return record.Written{}, false, nil
	}
	s := g.live
	w, err = d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Refused, asker: asker, sentence: "A report was refused: " + why, request: Request{Sent: sent},
		body: state.Body{Event: state.Event{After: &s}},
	}, nil, at)
	return w, true, err
}
