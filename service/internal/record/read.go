package record

import (
	"context"
	"fmt"
	"iter"

	"keepclear.example/keepclear/service/internal/store"
)

// pageRows is how many whole entries are read at once: some megabytes at an ordinary entry's size.
const pageRows = 128

// Filter says which entries; every given part must fit.
type Filter = store.Filter

// Page says which part of a listing.
type Page struct {
	After       int64 // the sequence that the page before ended with; 0: the first page
	Size        int
	OldestFirst bool
}

// open returns the store to read from.
func (r *Record) open() (*store.Store, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.store == nil {
		return nil, r.refusal()
	}
	return r.store, nil
}

// ByLeaveID returns the entry that made a permit, sync leave or lock, flushed or not; ErrAbsent where there is none.
func (r *Record) ByLeaveID(ctx context.Context, id string) (Written, error) {
	return r.lookUp(ctx, r.leaves, id, (*store.Store).ByLeave)
}

// lookUp tries the entries under way before the disk: an entry leaves the first only after it is in the second.
func (r *Record) lookUp(ctx context.Context, underWay map[string]*item, id string, find func(*store.Store, context.Context, string) (store.Row, error)) (Written, error) {
	r.mu.Lock()
	it := underWay[id]
	var w Written
	if it != nil {
		w = it.show()
	}
	r.mu.Unlock()
	if it != nil {
		return w, nil
	}
	st, err := r.open()
	if err != nil {
		return Written{}, err
	}
	row, err := find(st, ctx, id)
	if err != nil {
		return Written{}, err
	}
	e, err := fromRow(row, true)
	return Written{Entry: e}, err
}

// Get returns a flushed entry by its place, proven against its own hash; ErrAbsent where there is none.
func (r *Record) Get(ctx context.Context, chain string, number uint64) (Entry, error) {
	st, err := r.open()
	if err != nil {
		return Entry{}, err
	}
	row, err := st.Get(ctx, chain, number)
	if err != nil {
		return Entry{}, err
	}
	return fromRow(row, true)
}

// LastState returns a chain's last flushed state entry; ErrAbsent where there is none yet: the fold begins at entry 1.
func (r *Record) LastState(ctx context.Context, chain string) (Entry, error) {
	st, err := r.open()
	if err != nil {
		return Entry{}, err
	}
	n, err := st.LastState(ctx, chain)
	if err != nil {
		return Entry{}, err
	}
	if n == 0 {
		return Entry{}, fmt.Errorf("a state of chain %q: %w", chain, ErrAbsent)
	}
	return r.Get(ctx, chain, n)
}

// List returns flushed entries without bodies, newest first unless told otherwise, and where the next page begins, 0 for
// nowhere. The columns are proven against the entry; its hash is not, because the body is not read.
func (r *Record) List(ctx context.Context, f Filter, p Page) ([]Entry, int64, error) {
	st, err := r.open()
	if err != nil {
		return nil, 0, err
	}
	page := store.Page{OldestFirst: p.OldestFirst, Limit: p.Size + 1}
	if p.OldestFirst {
		page.Above = p.After
	} else {
		page.Below = p.After
	}
	var out []Entry
	for row, err := range st.List(ctx, f, page) {
		if err != nil {
			return nil, 0, err
		}
		if len(out) == p.Size {
			return out, out[len(out)-1].Sequence, nil
		}
		e, err := fromRow(row, false)
		if err != nil {
			return nil, 0, err
		}
		out = append(out, e)
	}
	return out, 0, nil
}

// Scan yields the flushed entries of a chain from a number on, each proven against its hash and the one before, for the
// fold. It ends with the head at the time of the call, or with an error.
func (r *Record) Scan(ctx context.Context, chain string, from uint64) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		st, err := r.open()
		if err != nil {
			yield(Entry{}, err)
			return
		}
		head := r.Heads()[chain]
		if from > head.Number {
			return
		}
		going := true
		s := span{chain: chain, from: max(from, 1), head: Place{Chain: chain, Number: head.Number, Hash: head.Hash}}
		err = walk(ctx, st, s, func(e Entry) error {
			if going = yield(e, nil); !going {
				return errEnough
			}
			return nil
		})
		if err != nil && going {
			yield(Entry{}, err)
		}
	}
}
