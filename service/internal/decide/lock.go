package decide

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// Lock locks a rig, or with an empty name all, and takes their leave back: it returns the lock and the ids of that leave. It wins over a
// question that is being judged: either that one is judged after it, or its permit is withdrawn before it leaves.
func (d *Decider) Lock(rigName, person, reason string, at time.Time, req Request) (question.Lock, Receipt, []string, error) {
	g := d.service
	groups := d.all()[1:]
	if rigName != "" {
		one, err := d.group(rigName)
		if err != nil {
			return question.Lock{}, Receipt{}, nil, err
		}
		g, groups = one, []*group{one}
	}
	if w, again, err := d.reportedBefore(req); again || errors.Is(err, record.ErrReused) { // a repeat takes nothing back
		return d.lockedBefore(w, nil, at, err)
	} // any other error: the record cannot be read, and leave is taken back all the same
	lock := question.Lock{ID: d.parts.NewID(), Rig: rigName, SetBy: person, Reason: reason, Set: at}
	why := fmt.Sprintf("locked by %s: %s", person, reason)
	var taken []string
	for _, one := range groups {
		taken = append(taken, one.takeBack(taking{why, at})...)
	}
	written, again, err := d.setLock(g, groups, lock, taken, why, req)
	switch {
	case err != nil:
		return question.Lock{}, Receipt{}, nil, err
	case again:
		return d.lockedBefore(written[0], taken, at, nil)
	}
	if err := written[0].Wait(); err != nil {
		return question.Lock{}, Receipt{}, nil, fmt.Errorf("recording the lock: %w", err)
	}
	if len(written) == 1+len(groups) || g != d.service {
		recorded(groups, taken, written)
	}
	return lock, d.receipt(written[0].Entry, at), taken, nil
}

// lockedBefore is the reply to a lock that is on record already: that lock, and the leave that it took back then, with what this copy
// of it took back before it was known for one.
func (d *Decider) lockedBefore(w record.Written, taken []string, at time.Time, err error) (question.Lock, Receipt, []string, error) {
	if err != nil {
		return question.Lock{}, Receipt{}, nil, err
	}
	b, err := state.Decode(w.Entry.Body)
	if err != nil {
		return question.Lock{}, Receipt{}, nil, err
	}
	if len(b.Event.Set) == 0 {
		return question.Lock{}, Receipt{}, nil, fmt.Errorf("%w: %q stands in entry %d of chain %q, which set no lock; use a new id for a new lock", record.ErrReused, w.Entry.Request.ID, w.Entry.Number, w.Entry.Chain)
	}
	if err := w.Wait(); err != nil {
		return question.Lock{}, Receipt{}, nil, fmt.Errorf("recording the lock: %w", err)
	}
	return b.Event.Set[0], d.receipt(w.Entry, at), append(b.Taken, taken...), nil
}

// setLock appends the lock while every rig concerned waits its turn, so that no permit slips between. It returns the lock's entry, and
// with a lock on all those of the rigs whose leave it ends. again: another copy of the request came first, and this one does nothing.
func (d *Decider) setLock(g *group, groups []*group, lock question.Lock, taken []string, why string, req Request) (out []record.Written, again bool, err error) {
	if g == d.service {
		g.turn.Lock()
		defer g.turn.Unlock()
	}
	for _, one := range groups { // always in the order of their names, after the service's: no two can wait for each other
		one.turn.Lock()
		defer one.turn.Unlock()
	}
	if w, again, err := d.reportedBefore(req); again || errors.Is(err, record.ErrReused) {
		return []record.Written{w}, again, err
	}
	for _, one := range groups {
		one.settle()
		was := one.live.Epoch
		if one.live = pose.Withdraw(one.live, why, lock.Set); one.live.Epoch == was { // a lock raises the epoch even where there is no leave
			one.live.Epoch++
		}
		one.setOpen()
	}
	event := state.Event{Set: []question.Lock{lock}}
	if g != d.service {
		s := g.live
		event.After = &s
	}
	w, err := d.putGuarded(g, entry{
		kind: state.LockKind, asker: lock.SetBy, request: req, sentence: fmt.Sprintf("Locked by %s: %s (lock %s)", lock.SetBy, lock.Reason, lock.ID),
		body: state.Body{Event: event, Taken: taken},
	}, lock.Set)
	out = []record.Written{w}
	if err == nil && g == d.service {
		out = append(out, d.closeUnder(groups, lock, why)...)
	}
	return out, false, err
}

// closeUnder puts on the chain of each rig what a lock on all did to it: of leave that ends on record with it, whoever took it back in memory, or of the lock alone. Requires every
// turn. Where that fails the lock holds all the same, memory has the leave withdrawn, and the next entry of the chain shows it.
func (d *Decider) closeUnder(groups []*group, lock question.Lock, why string) []record.Written {
	var out []record.Written
	for _, one := range groups {
		s, was := one.live, one.folded.Rig
		e := entry{kind: state.LockKind, asker: lock.SetBy, sentence: "With every rig " + why + "; no leave was open.", body: state.Body{Event: state.Event{After: &s}}}
		if was.Permit.Open() || liveLeave(was.Leave) { // memory has it withdrawn by now
			e.kind, e.sentence = state.Withdrawn, "Leave ended: "+why+"."
		}
		w, err := d.put(one, d.parts.Record.Head(one.name), e, nil, lock.Set)
		if err == nil {
			out = append(out, w)
		}
	}
	return out
}

// recorded notes of rigs whose leave a lock took back that the record has it, once it has.
func recorded(groups []*group, taken []string, written []record.Written) {
	for _, w := range written {
		if w.Wait() != nil {
			return
		}
	}
	for _, one := range groups {
		one.recorded(taken)
	}
}

// putGuarded is put, with the short lock that readers of the service's locks take.
func (d *Decider) putGuarded(g *group, e entry, at time.Time) (record.Written, error) {
	if g == d.service {
		g.mu.Lock()
		defer g.mu.Unlock()
	}
	return d.put(g, d.parts.Record.Head(g.name), e, nil, at)
}

// Release releases locks, all or none, and returns those that still hold the same rigs. A lock set later stays.
func (d *Decider) Release(ids []string, person, reason string, at time.Time, req Request) ([]question.Lock, Receipt, error) {
	remaining, written, err := d.release(ids, person, reason, at, req)
	if err != nil {
		return nil, Receipt{}, err
	}
	var last record.Written
	for _, w := range written {
		if err := w.Wait(); err != nil {
			return nil, Receipt{}, fmt.Errorf("recording the release: %w", err)
		}
		last = w
	}
	return remaining, d.receipt(last.Entry, at), nil
}

// release finds the chain of each lock and appends one entry to each chain concerned.
func (d *Decider) release(ids []string, person, reason string, at time.Time, req Request) ([]question.Lock, []record.Written, error) {
	groups := d.all()
	for _, g := range groups {
		g.turn.Lock()
		defer g.turn.Unlock()
	}
	if w, again, err := d.reportedBefore(req); err != nil || again {
		return d.remaining(groups), []record.Written{w}, err
	}
	byGroup := map[*group][]string{}
	for _, id := range ids {
		g, err := d.holder(groups, id)
		if err != nil {
			return nil, nil, err
		}
		byGroup[g] = append(byGroup[g], id)
	}
	var out []record.Written
	for _, g := range groups {
		released := byGroup[g]
		if len(released) == 0 {
			continue
		}
		r := req
		if len(out) > 0 { // a request id stands for one entry; the others name it in their sentence
			r.ID, r.Digest = "", record.Hash{}
		}
		event := state.Event{Released: released}
		w, err := d.putGuarded(g, entry{kind: state.LockKind, asker: person, request: r, sentence: releasing(person, reason, released, g.folded.Locks), body: state.Body{Event: event}}, at)
		if err != nil {
			return nil, out, err
		}
		out = append(out, w)
	}
	return d.remaining(groups), out, nil
}

// releasing says who released which locks and why, and whose they were: whether somebody lifted another's lock is what is asked of such an entry.
func releasing(person, reason string, released []string, held map[string]question.Lock) string {
	of := make([]string, len(released))
	for i, id := range released {
		of[i] = fmt.Sprintf("%s set by %s: %s", id, held[id].SetBy, held[id].Reason)
	}
	return fmt.Sprintf("%s released %s: %s (%s)", person, strings.Join(released, ", "), reason, strings.Join(of, "; "))
}

// holder finds the chain that holds a lock. Requires every turn.
func (d *Decider) holder(groups []*group, id string) (*group, error) {
	for _, g := range groups {
		if _, ok := g.folded.Locks[id]; ok {
			return g, nil
		}
	}
	w, err := d.parts.Record.ByLeaveID(nilContext(), id)
	if err == nil {
		if b, err := state.Decode(w.Entry.Body); err == nil && slices.ContainsFunc(b.Event.Set, func(l question.Lock) bool { return l.ID == id }) {
			return nil, fmt.Errorf("%w: %s", ErrReleased, id)
		}
	}
	return nil, fmt.Errorf("%w: %s", ErrNoLock, id)
}

// remaining returns the locks that still hold anything the released ones held.
func (d *Decider) remaining(groups []*group) []question.Lock {
	var out []question.Lock
	for _, g := range groups {
		out = append(out, g.folded.Held()...)
	}
	return out
}

// Held returns every lock in force: those on all rigs first, then those of each by its name, the oldest first.
func (d *Decider) Held() []question.Lock {
	groups := d.all()
	for _, g := range groups {
		g.turn.Lock()
		defer g.turn.Unlock()
	}
	return d.remaining(groups)
}
