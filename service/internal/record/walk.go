package record

import (
	"context"
	"errors"
	"fmt"

	"keepclear.example/keepclear/service/internal/store"
)

// errEnough ends a walk early.
var errEnough = errors.New("enough")

// span is a part of a chain, up to a known head.
type span struct {
	chain string
	from  uint64 // >= 1
	head  Place
}

// walker proves entry after entry.
type walker struct {
	span
	next     uint64
	previous Hash
	known    bool // previous is known
	sequence int64
}

// walk proves every entry of a span against its bytes, its columns, its number, its forerunner, and at the end against the
// head, and shows each to visit. The first that is not whole ends it with an *EntryError; visit's own error ends it as it is.
func walk(ctx context.Context, st *store.Store, s span, visit func(Entry) error) error {
	w := walker{span: s, next: s.from}
	for w.next <= s.head.Number {
		before := w.next
		for row, err := range st.Run(ctx, s.chain, w.next, pageRows) {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err != nil {
				return w.wrong(err)
			}
			e, err := w.prove(row)
			if err != nil {
				return err
			}
			if err := visit(e); err != nil {
				return err
			}
			if w.next > s.head.Number {
				break
			}
		}
		if w.next == before {
			return w.wrong(fmt.Errorf("%w: it is missing", ErrWrong))
		}
	}
	if w.previous != s.head.Hash {
		w.next--
		return w.wrong(fmt.Errorf("%w: it is not the head", ErrWrong))
	}
	return nil
}

func (w *walker) wrong(cause error) error {
	return &EntryError{Place: Place{Chain: w.chain, Number: w.next}, Cause: cause}
}

func (w *walker) prove(row store.Row) (Entry, error) {
	if row.Number != w.next {
		return Entry{}, w.wrong(fmt.Errorf("%w: it is missing, %d follows", ErrWrong, row.Number))
	}
	e, err := fromRow(row, true)
	if err != nil {
		return Entry{}, err
	}
	if w.known && e.Previous != w.previous {
		return Entry{}, w.wrong(fmt.Errorf("%w: it does not follow the entry before it", ErrWrong))
	}
	if e.Sequence <= w.sequence {
		return Entry{}, w.wrong(fmt.Errorf("%w: it stands before its forerunner in the file", ErrWrong))
	}
	if w.next == 1 && e.Previous != (Hash{}) {
		return Entry{}, w.wrong(fmt.Errorf("%w: it is the first, yet names one before it", ErrWrong))
	}
	w.next, w.previous, w.known, w.sequence = w.next+1, e.Hash, true, e.Sequence
	return e, nil
}
