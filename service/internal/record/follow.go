package record

import (
	"context"
	"fmt"

	"keepclear.example/keepclear/service/internal/store"
)

// followPage is how many entries a follower holds at most.
const followPage = 64

// Follower reads entries as they are flushed. It reads them from the file at its own pace: a slow one falls behind, costs
// nobody memory, and misses nothing. Not safe for concurrent use.
type Follower struct {
	record *Record
	filter Filter
	after  map[string]uint64 // per named chain: entries up to here are known
	start  int64             // chains not named begin beyond this sequence
	cursor int64
	ready  []Entry
}

// Follow begins after the given places, one per chain, each proven against its hash; chains without one, and an empty
// list, begin with what is flushed from now on.
func (r *Record) Follow(ctx context.Context, f Filter, after []Place) (*Follower, error) {
	st, err := r.open()
	if err != nil {
		return nil, err
	}
	now, err := st.Newest(ctx)
	if err != nil {
		return nil, err
	}
	fo := &Follower{record: r, filter: f, after: map[string]uint64{}, start: now, cursor: now}
	for _, p := range after {
		from, err := holds(ctx, st, p)
		if err != nil {
			return nil, fmt.Errorf("following: %w", err)
		}
		fo.after[p.Chain] = p.Number
		fo.cursor = min(fo.cursor, from)
	}
	return fo, nil
}

// Next returns the next entry, whole, and waits for it until ctx ends; after that it can be called again. It returns
// ErrClosed once the record is closed; while the record is down it waits.
func (f *Follower) Next(ctx context.Context) (Entry, error) {
	for len(f.ready) == 0 {
		changed, st, closed := f.record.watch()
		if closed {
			return Entry{}, ErrClosed
		}
		if st != nil {
			if err := f.fill(ctx, st); err != nil && !f.record.lost(st) {
				return Entry{}, err
			}
		}
		if len(f.ready) > 0 {
			break
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return Entry{}, ctx.Err()
		}
	}
	e := f.ready[0]
	f.ready = f.ready[1:]
	return e, nil
}

// watch returns what will be closed at the next change, the store as it is now, nil while down, and whether all is over.
func (r *Record) watch() (<-chan struct{}, *store.Store, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.changed, r.store, r.closed && r.store == nil
}

// lost tells whether a store is no longer the record's, so that its errors say nothing.
func (r *Record) lost(st *store.Store) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.store != st
}

// fill reads on until it has something or has seen all there is.
func (f *Follower) fill(ctx context.Context, st *store.Store) error {
	for len(f.ready) == 0 {
		newest, err := st.Newest(ctx)
		if err != nil {
			return err
		}
		if f.cursor >= newest {
			return nil
		}
		fits := false
		for row, err := range st.List(ctx, f.filter, store.Page{Above: f.cursor, OldestFirst: true, Bodies: true, Limit: followPage}) {
			if err != nil {
				return err
			}
			e, err := fromRow(row, true)
			if err != nil {
				return err
			}
			fits, f.cursor = true, row.Sequence // an error later in the page does not show this one again
			if f.wants(e) {
				f.ready = append(f.ready, e)
			}
		}
		if !fits {
			f.cursor = newest
		}
	}
	return nil
}

func (f *Follower) wants(e Entry) bool {
	if number, named := f.after[e.Chain]; named {
		return e.Number > number
	}
	return e.Sequence > f.start
}
