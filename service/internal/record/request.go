package record

import (
	"context"
	"fmt"

	"keepclear.example/keepclear/service/internal/store"
)

// mostAbsent bounds how many request ids are remembered as not on record: more than may be under way at once. Beyond it the memory begins
// anew, which costs a look at the disk and nothing else.
const mostAbsent = 4096

// absent remembers request ids that were looked for and are not on record, from the look of an asker to its append: one look at the disk a
// question. An append forgets its id, so that what is remembered stays true; so does a file opened anew.
type absent struct {
	ids  map[string]search
	last uint64
}

// search is one look for an id: sure once the disk has said that it has none, and no append came between.
type search struct {
	number uint64
	sure   bool
}

// begin notes that an id is being looked for, and returns the number of that search.
func (a *absent) begin(id string) uint64 {
	if len(a.ids) >= mostAbsent || a.ids == nil {
		a.ids = map[string]search{}
	}
	a.last++
	a.ids[id] = search{number: a.last}
	return a.last
}

// end notes that the disk has no such id, unless an append or a later search came between.
func (a *absent) end(id string, number uint64) {
	if a.ids[id].number == number {
		a.ids[id] = search{number, true}
	}
}

// ByRequestID returns the entry of a request id, flushed or not; ErrAbsent where there is none.
func (r *Record) ByRequestID(ctx context.Context, id string) (Written, error) {
	none := fmt.Errorf("request id %q: %w", id, ErrAbsent)
	r.mu.Lock()
	if it := r.requests[id]; it != nil {
		defer r.mu.Unlock()
		return it.show(), nil
	}
	if r.store == nil {
		defer r.mu.Unlock()
		return Written{}, r.refusal()
	}
	if r.ids.absent(id) || r.absent.ids[id].sure {
		r.mu.Unlock()
		return Written{}, none
	}
	st, number := r.store, r.absent.begin(id)
	r.mu.Unlock()
	has, err := st.HasRequest(ctx, id)
	if err != nil {
		return Written{}, err
	}
	if has {
		return r.lookUp(ctx, r.requests, id, (*store.Store).ByRequest)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.absent.end(id, number)
	return Written{}, none
}
