package record

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"

	"keepclear.example/keepclear/service/internal/store"
)

// Written is an entry in its chain, perhaps not yet on disk.
type Written struct {
	Entry    Entry // of a draft just appended without its bytes, which are the record's until they are flushed, and the next entry's then
	Repeated bool  // the request id was on record already: this is the entry of then, and the draft was not appended
	item     *item
}

// Wait returns nil once the entry is durable. Nothing that depends on the entry may leave before. An error means that it
// may not be on disk and that nothing may be allowed on the strength of it.
func (w Written) Wait() error {
	if w.item == nil {
		return nil
	}
	select {
	case <-w.item.done:
	default:
		w.item.record.lead()
		<-w.item.done
	}
	return w.item.err
}

// Append puts a draft on the head that it was judged on and returns without waiting for the disk. It refuses with
// ErrNotHead where the chain has moved on, and with ErrReused where the request id stands for other bytes; the same bytes
// give the recorded entry. Where a state entry is due it goes before the draft, so that the draft follows the state of the
// very head it was judged on; the new head is always that of the entry returned.
func (r *Record) Append(d Draft, on Head) (Written, error) {
	if err := d.check(); err != nil {
		return Written{}, err
	}
	if d.Request.ID != "" {
		turn := &r.turns[maphash.String(r.seed, d.Request.ID)%turnCount]
		turn.Lock()
		defer turn.Unlock()
		was, err := r.asked(d.Request)
		if err != nil || was.Repeated {
			return was, err
		}
	}
	items := r.draw(d, on)
	for _, it := range items {
		it.record, it.awaited = r, d.Awaited
	}
	last := items[len(items)-1]
	w := Written{Entry: last.entry, item: last} // copied before the flusher can touch it
	w.Entry.Stored, w.Entry.Body = nil, nil
	if err := r.enqueue(items, on); err != nil {
		return Written{}, err
	}
	return w, nil
}

// asked looks a request id up; Repeated tells that it is there. Requires the id's turn.
func (r *Record) asked(q Request) (Written, error) {
	was, err := r.ByRequestID(context.Background(), q.ID)
	switch {
	case errors.Is(err, ErrAbsent):
		return Written{}, nil
	case err != nil:
		return Written{}, err
	case was.Entry.Request.Digest != q.Digest:
		return Written{}, fmt.Errorf("%w: %q asked something else in entry %d of chain %q; use a new id for a new question",
			ErrReused, q.ID, was.Entry.Number, was.Entry.Chain)
	}
	was.Repeated = true
	return was, nil
}

// draw makes the entries that go on a head: the state if it is due, then the draft. It hashes, so it holds no lock.
func (r *Record) draw(d Draft, on Head) []*item {
	var items []*item
	d.room = r.room()
	if body := r.dueState(d.Chain, on); body != nil {
		state := Draft{Chain: d.Chain, Time: d.Time, Index: Index{Kind: KindState, Sentence: fmt.Sprintf("State of the chain after entry %d.", on.Number)}, Body: body}
		items = append(items, newItem(state, on, true))
		on = items[0].entry.Head()
	}
	return append(items, newItem(d, on, false))
}

func newItem(d Draft, on Head, state bool) *item {
	it := &item{done: make(chan struct{}), entry: Entry{Chain: d.Chain, Number: on.Number + 1, Previous: on.Hash,
		Time: d.Time.UTC().Round(0), State: state, Index: d.Index, Body: d.Body}}
	it.row = toRow(&it.entry, d.room)
	return it
}

// room is memory in which the bytes of an entry stood that is flushed: each is some 20 kB, which else were a fifth of an answer's garbage.
func (r *Record) room() []byte {
	room, _ := r.rooms.Get().(*[]byte)
	if room == nil {
		return nil
	}
	return *room
}

// mostRoom is the longest that is kept, bytes: above an ordinary entry, below a long rehearsal's.
const mostRoom = 128 << 10

// reuse takes the bytes of a flushed entry back, unless somebody was shown them. Requires r.mu, and that nobody finds the entry under way any more.
func (r *Record) reuse(it *item) {
	room := it.entry.Stored
	if it.shown || cap(room) > mostRoom {
		return
	}
	it.entry.Stored, it.entry.Body, it.row = nil, nil, store.Row{}
	r.rooms.Put(&room)
}

// show is an entry under way, for somebody who may keep it. Requires r.mu.
func (it *item) show() Written {
	it.shown = true
	return Written{Entry: it.entry, item: it}
}

func (r *Record) dueState(chain string, on Head) []byte {
	if r.opts.State == nil {
		return nil
	}
	r.mu.Lock()
	c := r.chains[chain]
	due := c != nil && c.head == on && on.Number+1 >= c.state+r.opts.StateEvery
	r.mu.Unlock()
	if !due {
		return nil
	}
	return r.opts.State(chain, on)
}

// enqueue puts the entries into their chain and before the flusher, if the head is still the one they were made for.
func (r *Record) enqueue(items []*item, on Head) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.refusal(); err != nil {
		return err
	}
	name := items[0].entry.Chain
	c := r.chains[name]
	if c == nil {
		c = &chain{}
	}
	if c.head != on {
		return fmt.Errorf("%w: chain %q is at entry %d (%x), the draft was judged on %d (%x); judge it again", ErrNotHead,
			name, c.head.Number, c.head.Hash[:4], on.Number, on.Hash[:4])
	}
	if len(r.queue) >= maxQueued || r.bytes >= maxQueuedBytes {
		return fmt.Errorf("%w: %d of them", ErrFull, len(r.queue))
	}
	r.chains[name] = c
	for _, it := range items {
		r.push(c, it)
	}
	return nil
}

// push takes one entry in. Requires r.mu.
func (r *Record) push(c *chain, it *item) {
	c.head = it.entry.Head()
	if it.entry.State {
		c.state = it.entry.Number
	}
	r.queue = append(r.queue, it)
	r.bytes += len(it.row.Body)
	if id := it.entry.Request.ID; id != "" {
		r.requests[id] = it
		r.ids.add(id)
		delete(r.absent.ids, id)
	}
	for _, id := range it.entry.LeaveIDs {
		r.leaves[id] = it
	}
	if !it.awaited {
		wake(r.wake)
	}
	if len(r.queue)-r.packed >= packAtOnce {
		wake(r.ahead)
	}
}

// Nudge has the flusher write what waits, as whoever waits for an entry would: for one who appended an awaited entry and will not wait for it after all.
func (r *Record) Nudge() { wake(r.wake) }

// wake wakes the goroutine that waits there, or will.
func wake(who chan<- struct{}) {
	select {
	case who <- struct{}{}:
	default:
	}
}
