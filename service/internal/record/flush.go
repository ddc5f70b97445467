package record

import (
	"fmt"
	"sync"

	"keepclear.example/keepclear/service/internal/store"
)

// run is the flusher: one at a time, all that waits in one transaction, until Close.
func (r *Record) run() {
	defer close(r.done)
	var ahead sync.WaitGroup
	ahead.Go(r.packAhead)
	defer ahead.Wait()
	for batch := r.next(); len(batch) > 0; batch = r.next() {
		err := r.flush(batch)
		if err == nil {
			batch, err = nil, r.store.Tidy(r.waiting) // only the flusher changes r.store, so it may read it without the lock
		}
		if err != nil {
			r.repair(err, batch)
		}
	}
}

// next waits for entries and takes all there are; none after Close. It waits for the wake-up even where some are there already: whoever appends
// leaves one behind, and what is taken together does not depend on how soon this goroutine ran.
func (r *Record) next() []*item {
	for {
		select {
		case <-r.wake:
		case <-r.stop:
		}
		if r.opts.Gather != nil {
			r.opts.Gather()
		}
		r.mu.Lock()
		batch, closed := r.takeQueue(), r.closed
		r.mu.Unlock()
		if len(batch) > 0 || closed {
			return batch
		}
	}
}

// takeQueue takes all that waits. Requires r.mu.
func (r *Record) takeQueue() []*item {
	all := r.queue
	r.queue, r.bytes, r.packed = nil, 0, 0
	return all
}

// packAtOnce is how many must wait before they are packed ahead, together. Measured, a disk in memory, 64 askers: one at a time 11 µs of the processor
// each, because in between others use the caches, which undoes the gain; together 6, and 5 % more entries a second.
const packAtOnce = 16

// packAhead packs what waits while the flusher is at work on what came before it; what it has not reached, the commit packs. Until Close.
func (r *Record) packAhead() {
	var p store.Packer
	for {
		select {
		case <-r.ahead:
		case <-r.stop:
			return
		}
		for r.packSome(&p) {
		}
	}
}

// packSome packs the next of those that wait, and tells whether there were enough of them.
func (r *Record) packSome(p *store.Packer) bool {
	r.mu.Lock()
	if len(r.queue)-r.packed < packAtOnce {
		r.mu.Unlock()
		return false
	}
	some := r.queue[r.packed : r.packed+packAtOnce]
	r.packed += packAtOnce
	r.packing.Lock() // before the flusher can take them
	r.mu.Unlock()
	defer r.packing.Unlock()
	for _, it := range some {
		p.Pack(&it.row)
	}
	return true
}

// waiting tells whether somebody waits for the next flush.
func (r *Record) waiting() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.queue) > 0
}

// flush makes a batch durable and lets those who wait for it go.
func (r *Record) flush(batch []*item) error {
	if err := r.store.Commit(r.rowsOf(batch)); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, it := range batch {
		r.chains[it.entry.Chain].durable = it.entry.Head()
		r.forget(it)
		r.reuse(it)
		close(it.done)
	}
	r.announce()
	return nil
}

// rowsOf are the rows of what was taken. Some may still be under packAhead's hands, which takes up no more of them.
func (r *Record) rowsOf(batch []*item) []store.Row {
	rows := make([]store.Row, len(batch))
	r.packing.Lock()
	defer r.packing.Unlock()
	for i, it := range batch {
		rows[i] = it.row
	}
	return rows
}

// fall takes the record down: the batch fails, and so does all that was appended behind it, because it was judged on it.
// Requires r.mu.
func (r *Record) fall(err error, batch []*item) {
	r.down = err
	for _, it := range append(batch, r.takeQueue()...) {
		it.err = fmt.Errorf("%w: entry %d of chain %q may not be on disk: %w", ErrDown, it.entry.Number, it.entry.Chain, err)
		r.forget(it)
		close(it.done)
	}
	for _, c := range r.chains {
		c.head = c.durable
	}
}

// forget takes an entry that is no longer under way out of the look-ups. Requires r.mu.
func (r *Record) forget(it *item) {
	if id := it.entry.Request.ID; r.requests[id] == it {
		delete(r.requests, id)
	}
	for _, id := range it.entry.LeaveIDs {
		if r.leaves[id] == it {
			delete(r.leaves, id)
		}
	}
}

// announce wakes who waits for something new to read. Requires r.mu.
func (r *Record) announce() {
	close(r.changed)
	r.changed = make(chan struct{})
}

// repair takes the record down, with the batch that failed (none: tidying did, and nothing that was answered is in doubt), closes the
// file and opens it again until it is whole or the record is closed. The sync that failed is never tried again on the open file, because a
// second one can succeed over lost pages.
func (r *Record) repair(cause error, batch []*item) {
	r.mu.Lock()
	r.fall(cause, batch)
	st := r.store
	r.store = nil
	r.mu.Unlock()
	_ = st.Close() // it is known to be broken; what counts is what opening it finds
	for delay := firstRetry; ; {
		select {
		case <-r.opts.After(delay):
		case <-r.stop:
			return
		}
		err := r.reopen()
		if err == nil {
			return
		}
		r.mu.Lock()
		r.down = err
		r.mu.Unlock()
		delay = min(2*delay, lastRetry)
	}
}

// reopen opens and verifies the file and has the owner fold anew; only then are appends taken.
func (r *Record) reopen() error {
	st, tails, err := r.load()
	if err != nil {
		return err
	}
	known := newFilter(st)
	r.mu.Lock()
	r.store, r.ids, r.absent.ids = st, known, nil // what a failed flush left is perhaps there after all
	r.take(tails)
	heads := durableHeads(r.chains)
	r.announce()
	r.mu.Unlock()
	r.fillBeside(st, known)
	if r.opts.Reopened != nil {
		if err := r.opts.Reopened(heads); err != nil {
			r.mu.Lock()
			r.store = nil
			r.mu.Unlock()
			_ = st.Close()
			return fmt.Errorf("folding anew: %w", err)
		}
	}
	r.mu.Lock()
	r.down = nil
	r.mu.Unlock()
	return nil
}
