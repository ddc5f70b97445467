package record

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/store"
)

// Bounds of what may wait for the disk. Common practice, no source: at a slow card's 20 syncs a second one flush takes what
// a whole site asks in a minute.
const (
	maxQueued      = 10_000
	maxQueuedBytes = 256 << 20
)

// Retry delays after a failed flush: the design's 1, 2, 4 … 60 s.
const (
	firstRetry = 1 * time.Second
	lastRetry  = 60 * time.Second
)

// turnCount is how many request ids may be looked up at once; equal ids always take turns.
const turnCount = 64

// Options are what the record needs of its owner.
type Options struct {
	// State returns the owner's state of a chain as of a head, to begin a state entry with; nil: not now. It is called in
	// the turn of the asker who appends on that head, with no lock of the record held.
	State func(chain string, on Head) []byte
	// Reopened is called after a failed flush, once the file is open and verified again and before it takes appends: the
	// heads are those on disk, and the owner folds anew from there (reading works, appending does not yet). An error
	// keeps the record down and is tried again.
	Reopened func(heads map[string]Head) error
	// Receipts are places that must be in the record, kept outside of it: they convict an older copy or a cut tail.
	Receipts []Place
	// StateEvery is how often a chain gets a state entry; 0: the design's, see StateEvery.
	StateEvery uint64
	// Gather is called by the flusher before it takes what waits: what is appended before it returns goes to disk with it. nil: nothing
	// is waited for.
	Gather func()
	// KeepHeads keeps the heads beside the record when it is closed, too (see Record.KeepHeads).
	KeepHeads bool
	// After is the timer of the retries; nil: time.After.
	After func(time.Duration) <-chan time.Time
	// Store is passed on.
	Store store.Options
}

// Record is an open record. Safe for concurrent use.
type Record struct {
	path string
	opts Options
	seed maphash.Seed
	// turns keeps two appends of one request id apart while the id is looked up.
	turns [turnCount]sync.Mutex

	mu       sync.Mutex
	store    *store.Store // nil while the file is closed for reopening
	chains   map[string]*chain
	queue    []*item
	bytes    int              // of the bodies in queue
	requests map[string]*item // appended, not yet flushed
	leaves   map[string]*item
	ids      *ids   // request ids that may be on record
	absent   absent // some that are surely not, although the filter does not know it
	down     error
	closed   bool
	changed  chan struct{} // closed and made anew whenever there is something new to read

	wake chan struct{} // to the flusher; holds one
	stop chan struct{} // closed by Close
	done chan struct{} // closed by the flusher

	beside sync.WaitGroup // what fills the filter

	keeping sync.Mutex
	kept    string // what of the heads stands in the file beside the record; empty: not known. Guarded by keeping
}

// chain is what the record knows of one chain.
type chain struct {
	head    Head   // of all entries appended, flushed or not
	durable Head   // of the entries flushed. Invariant: durable.Number <= head.Number
	state   uint64 // number of the last state entry appended
}

// item is one entry on its way to the disk.
type item struct {
	entry Entry
	row   store.Row
	done  chan struct{} // closed when err is final
	err   error
}

// Open opens or makes the record at path. It verifies the heads and every chain from its last state entry on; Verify
// looks at all of it.
func Open(path string, opts Options) (*Record, error) {
	if opts.After == nil {
		opts.After = time.After
	}
	if opts.StateEvery == 0 {
		opts.StateEvery = StateEvery
	}
	r := &Record{path: path, opts: opts, seed: maphash.MakeSeed(), chains: map[string]*chain{},
		requests: map[string]*item{}, leaves: map[string]*item{}, changed: make(chan struct{}),
		wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	st, chains, err := r.load()
	if err != nil {
		return nil, fmt.Errorf("opening the record: %w", err)
	}
	r.store, r.chains, r.ids = st, chains, newFilter(st)
	r.fillBeside(st, r.ids)
	go r.run()
	return r, nil
}

// Close flushes what waits, refuses what comes, and gives the file up. When it returns, nothing of the record runs.
func (r *Record) Close() error {
	r.mu.Lock()
	if r.closed {
		r.mu.Unlock()
		<-r.done
		return nil
	}
	r.closed = true
	close(r.stop)
	r.mu.Unlock()
	<-r.done
	if r.opts.KeepHeads {
		_ = r.KeepHeads() // those that are kept stay true
	}
	r.mu.Lock()
	st := r.store
	r.store = nil
	r.announce()
	r.mu.Unlock()
	defer r.beside.Wait() // what fills the filter ends at its next page, or by the error of a store that is closed
	if st == nil {
		return nil
	}
	return st.Close()
}

// Down returns why the record takes no appends, nil when it does.
func (r *Record) Down() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.refusal()
}

// refusal says why nothing may be appended now. Requires r.mu.
func (r *Record) refusal() error {
	switch {
	case r.closed:
		return ErrClosed
	case r.down != nil:
		return fmt.Errorf("%w: %w", ErrDown, r.down)
	default:
		return nil
	}
}

// Head returns the head of a chain, entries not yet flushed included; the zero Head where the chain has none.
func (r *Record) Head(chain string) Head {
	r.mu.Lock()
	defer r.mu.Unlock()
	if c := r.chains[chain]; c != nil {
		return c.head
	}
	return Head{}
}

// Heads returns the heads of all chains as far as they are flushed.
func (r *Record) Heads() map[string]Head {
	r.mu.Lock()
	defer r.mu.Unlock()
	return durableHeads(r.chains)
}

func durableHeads(chains map[string]*chain) map[string]Head {
	out := make(map[string]Head, len(chains))
	for name, c := range chains {
		if c.durable.Number > 0 {
			out[name] = c.durable
		}
	}
	return out
}

// load opens the store and verifies each chain from its last state entry on, and that everything answered is there.
func (r *Record) load() (*store.Store, map[string]*chain, error) {
	st, err := store.Open(r.path, r.opts.Store)
	if err != nil {
		return nil, nil, err
	}
	chains, err := r.verifyTail(context.Background(), st)
	if err != nil {
		return nil, nil, errors.Join(err, st.Close())
	}
	return st, chains, nil
}

func (r *Record) verifyTail(ctx context.Context, st *store.Store) (map[string]*chain, error) {
	heads, _, err := st.Heads(ctx)
	if err != nil {
		return nil, err
	}
	chains := map[string]*chain{}
	for _, h := range heads {
		state, err := st.LastState(ctx, h.Chain)
		if err != nil {
			return nil, err
		}
		if err := walk(ctx, st, span{chain: h.Chain, from: max(state, 1), head: h}, nil); err != nil {
			return nil, err
		}
		head := Head{Number: h.Number, Hash: h.Hash}
		chains[h.Chain] = &chain{head: head, durable: head, state: state}
	}
	for _, p := range r.answered() {
		if _, err := holds(ctx, st, p); err != nil {
			return nil, err
		}
	}
	return chains, nil
}

// answered returns the places that the file must hold: the receipts, and what this process has seen flushed.
func (r *Record) answered() []Place {
	out := append([]Place(nil), r.opts.Receipts...)
	for name, h := range r.Heads() {
		out = append(out, Place{Chain: name, Number: h.Number, Hash: h.Hash})
	}
	return out
}

// holds proves that the file has the entry of a receipt, and returns its sequence, 0 for the place before the first.
func holds(ctx context.Context, st *store.Store, p Place) (int64, error) {
	if p.Number == 0 {
		return 0, nil
	}
	row, err := st.Get(ctx, p.Chain, p.Number)
	switch {
	case errors.Is(err, store.ErrAbsent):
		return 0, &EntryError{Place: p, Cause: fmt.Errorf("%w: it ends before this one; put the newer file back, or have a named person accept the loss", ErrLost)}
	case err != nil:
		return 0, err
	case row.Hash != p.Hash:
		return 0, &EntryError{Place: p, Cause: fmt.Errorf("%w: another entry stands in its place", ErrLost)}
	}
	return row.Sequence, nil
}
