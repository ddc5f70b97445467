package record

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"runtime"
	"sync"
	"sync/atomic"
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
	// Fold begins the owner's fold of a chain. Whenever the file is opened it takes in what is read of the chain then, and is had by Folded:
	// nothing is read twice. One that is a Settler is told when it has all. nil: nothing is folded.
	Fold func(chain string) Folder
	// Receipts are places that must be in the record, kept outside of it: they convict an older copy or a cut tail.
	Receipts []Place
	// StateEvery is how often a chain gets a state entry; 0: the design's, see StateEvery.
	StateEvery uint64
	// Gather is called by the flusher before it takes what waits: what is appended before it returns goes to disk with it. nil: nothing
	// is waited for.
	Gather func()
	// KeepHeads tells, when the record is closed, whether its heads are to be kept beside it then too (see Record.KeepHeads): not before the owner
	// has looked at those that are kept, which would hide what is lost. nil: never.
	KeepHeads func() bool
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
	packed   int              // how many of queue, from its beginning, packAhead has packed or is packing
	requests map[string]*item // appended, not yet flushed
	leaves   map[string]*item
	folds    map[string]*folded // of what was read when the file was opened, by chain, until they are asked for
	ids      *ids               // request ids that may be on record
	absent   absent             // some that are surely not, although the filter does not know it
	down     error
	closed   bool
	changed  chan struct{} // closed and made anew whenever there is something new to read

	// flushing holds one, of whoever flushes: the flusher, or an asker who found nobody at it. It comes before mu, and guards what follows. A
	// channel and no mutex: an owner whose Gather sleeps in a bubble of testing/synctest would sleep for ever if somebody waited for a mutex.
	flushing chan struct{}
	broken   *store.Store // failed, to be closed and opened anew; then store is nil
	untidy   bool         // an asker flushed and left the tidying

	wake  chan struct{} // to the flusher; holds one
	ahead chan struct{} // to packAhead; holds one
	stop  chan struct{} // closed by Close
	done  chan struct{} // closed by the flusher

	packing sync.Mutex // held by packAhead over those that it packs; it takes it with mu held

	rooms sync.Pool // of *[]byte: what flushed entries no longer need

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

// Settler is a Folder that puts work off.
type Settler interface {
	// Settle does what was put off; an error is as one of Apply.
	Settle() error
}

// folded is the owner's fold of a chain as far as it could be folded.
type folded struct {
	Folder
	upTo Head
	err  error
}

// item is one entry on its way to the disk.
type item struct {
	record  *Record
	entry   Entry
	row     store.Row
	awaited bool          // who appended it waits for it
	done    chan struct{} // closed when err is final
	err     error
	shown   bool // to somebody who looked it up. Guarded by the record's mu
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
	file, err := store.Named(path) // what is kept beside it goes by its own name
	if err != nil {
		return nil, fmt.Errorf("opening the record: %w", err)
	}
	r := &Record{path: file, opts: opts, seed: maphash.MakeSeed(), chains: map[string]*chain{},
		requests: map[string]*item{}, leaves: map[string]*item{}, changed: make(chan struct{}),
		flushing: make(chan struct{}, 1), wake: make(chan struct{}, 1), ahead: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	st, tails, err := r.load()
	if err != nil {
		return nil, openingIt(err)
	}
	r.store, r.ids = st, newFilter(st)
	r.take(tails)
	r.fillBeside(st, r.ids)
	go r.run()
	return r, nil
}

// openingIt says of an error that it came at the opening, where it does not say so itself.
func openingIt(err error) error {
	if f := new(store.FileError); errors.As(err, &f) && f.Doing == doingOpen {
		return err
	}
	return fmt.Errorf("%s: %w", doingOpen, err)
}

// doingOpen is what the store says that it was doing then.
const doingOpen = "opening the record"

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
	if r.opts.KeepHeads != nil && r.opts.KeepHeads() {
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

// tail is a chain as it was read from its last state entry on.
type tail struct {
	name string
	chain
	fold *folded // nil: it was not asked for
	err  error
}

// load opens the store and verifies each chain from its last state entry on, and that everything answered is there.
func (r *Record) load() (*store.Store, []tail, error) {
	st, err := store.Open(r.path, r.opts.Store)
	if err != nil {
		return nil, nil, err
	}
	tails, err := r.verifyTails(context.Background(), st)
	if err != nil {
		return nil, nil, errors.Join(err, st.Close())
	}
	return st, tails, nil
}

// take makes tails the chains of the record. Requires r.mu, or that nobody else has the record yet.
func (r *Record) take(tails []tail) {
	r.chains, r.folds = make(map[string]*chain, len(tails)), map[string]*folded{}
	for i := range tails {
		t := &tails[i]
		r.chains[t.name], r.folds[t.name] = &t.chain, t.fold
	}
}

// chainsEach is how many chains are worth another connection, which takes as long to open as some to read. Ours.
const chainsEach = 16

// readersFor is how many read so many chains side by side.
func readersFor(chains, cores int) int { return min(cores, 1+chains/chainsEach) }

// verifyTails reads the chains side by side. Of what is wrong with several the first is told, by name.
func (r *Record) verifyTails(ctx context.Context, st *store.Store) ([]tail, error) {
	heads, _, err := st.Heads(ctx)
	if err != nil {
		return nil, err
	}
	tails := make([]tail, len(heads))
	var next atomic.Int64
	var beside sync.WaitGroup
	for range readersFor(len(heads), runtime.GOMAXPROCS(0)) {
		beside.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(heads); i = int(next.Add(1)) - 1 {
				tails[i] = r.verifyTail(ctx, st, heads[i])
			}
		})
	}
	beside.Wait()
	for i := range tails {
		if tails[i].err != nil {
			return nil, tails[i].err
		}
	}
	for _, p := range r.answered() {
		if _, err := holds(ctx, st, p); err != nil {
			return nil, err
		}
	}
	return tails, nil
}

func (r *Record) verifyTail(ctx context.Context, st *store.Store, h Place) tail {
	state, err := st.LastState(ctx, h.Chain)
	if err != nil {
		return tail{err: err}
	}
	head := Head{Number: h.Number, Hash: h.Hash}
	t := tail{name: h.Chain, chain: chain{head: head, durable: head, state: state}}
	if r.opts.Fold != nil {
		t.fold = &folded{Folder: r.opts.Fold(h.Chain), upTo: head}
	}
	t.err = walk(ctx, st, span{chain: h.Chain, from: max(state, 1), head: h}, t.fold.visit)
	if t.fold != nil && t.fold.err == nil {
		if s, waits := t.fold.Folder.(Settler); waits {
			t.fold.err = s.Settle()
		}
	}
	return t
}

// visit takes an entry in. What cannot be folded is none of the record's: it is told to who asks for the fold.
func (f *folded) visit(e Entry) error {
	if f != nil && f.err == nil {
		f.err = f.Apply(e)
	}
	return nil
}

// Folded returns the owner's fold of a chain up to its head, as it was when the file was opened, once; nil where there is none, or the chain has gone on.
func (r *Record) Folded(chain string) (Folder, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f := r.folds[chain]
	delete(r.folds, chain)
	if f == nil || f.upTo != r.chains[chain].head {
		return nil, nil
	}
	return f.Folder, f.err
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
