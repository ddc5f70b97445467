package record

import (
	"context"
	"hash/maphash"
	"math/bits"

	"keepclear.example/keepclear/service/internal/store"
)

// ids tells of a request id that it is surely not on record, without a look at the disk, which a question would wait for. Where it does not
// know, the disk is asked. Source: Bloom, Communications of the ACM 13 (1970) 422: an id sets a few bits of many, and one of which any is not set was
// never put in. With the figures below one absent id in some hundred is asked for on the disk all the same.
type ids struct {
	seed  maphash.Seed
	bits  []uint64 // a power of two of them
	ready bool     // those of the file are all in
}

// Choices. A filter is made for twice the ids of the file and for a night's beside them, up to a bound (16 MB): beyond that more are asked for on
// the disk.
const (
	idPlaces  = 4  // bits that an id sets
	idSpare   = 16 // bits there are for each id
	idsAtOnce = 1 << 16
	idsAtMost = 1 << 21
)

// newIDs makes an empty filter for a file of so many entries.
func newIDs(entries int64) *ids {
	words := (2*uint64(min(entries, idsAtMost)) + idsAtOnce) * idSpare / 64
	return &ids{seed: maphash.MakeSeed(), bits: make([]uint64, 1<<bits.Len64(words-1))}
}

// places visits the bits of an id until one is refused.
func (f *ids) places(id string, visit func(word *uint64, bit uint64) bool) bool {
	h := maphash.String(f.seed, id)
	// Ids that share one place part at the next, and the factor lets a step move the upper bits too.
	step := h>>32 | 1
	for range idPlaces {
		if !visit(&f.bits[h>>6&uint64(len(f.bits)-1)], 1<<(h&63)) {
			return false
		}
		h += step * 0x9e3779b97f4a7c15 // the golden ratio of 2^64: far from where it was
	}
	return true
}

func (f *ids) add(id string) {
	f.places(id, func(word *uint64, bit uint64) bool { *word |= bit; return true })
}

// absent tells whether an id is surely not on record.
func (f *ids) absent(id string) bool {
	return f.ready && !f.places(id, func(word *uint64, bit uint64) bool { return *word&bit != 0 })
}

// filledAtOnce is up to how many entries the filter is filled before the record is open: some milliseconds. Choice.
const filledAtOnce = 2000

// fillPage is how many ids are read at a time.
const fillPage = 1000

// fill puts the ids of a file into a filter, page by page; put takes each page. It gives up where that cannot be read: the disk is asked then.
func fill(st *store.Store, put func(page []string) bool) {
	last := ""
	for {
		page, err := st.RequestIDs(context.Background(), last, fillPage)
		if err != nil || !put(page) || len(page) < fillPage {
			return
		}
		last = page[len(page)-1]
	}
}

// newFilter makes the filter of a file just opened; what takes long is left to fillBeside.
func newFilter(st *store.Store) *ids {
	n, _ := st.Newest(context.Background()) // 0 where that cannot be read; then the ids can hardly be, which is told there
	f := newIDs(n)
	if n > filledAtOnce {
		return f
	}
	fill(st, func(page []string) bool {
		for _, id := range page {
			f.add(id)
		}
		f.ready = len(page) < fillPage
		return true
	})
	return f
}

// fillBeside fills the filter of a large file while the record works already.
func (r *Record) fillBeside(st *store.Store, f *ids) {
	if f.ready {
		return
	}
	r.beside.Go(func() {
		fill(st, func(page []string) bool {
			r.mu.Lock()
			defer r.mu.Unlock()
			if r.closed || r.ids != f { // closed, or opened anew
				return false
			}
			for _, id := range page {
				f.add(id)
			}
			f.ready = len(page) < fillPage
			return true
		})
	})
}
