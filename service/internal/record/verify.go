package record

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/store"
)

// Folder folds one chain as its owner does, so that state entries can be compared with what they should be.
type Folder interface {
	Apply(Entry) error
	State() ([]byte, error)
}

// VerifyOptions say what to verify and how far.
type VerifyOptions struct {
	Chain    string                    // empty: all, with the file's own pages and indexes
	Receipts []Place                   // places that must be in the record
	Kept     []Place                   // the same, of which the sentence does not speak: KeptHeads
	Fold     func(chain string) Folder // nil: the bodies of state entries are not recomputed
	Progress func(readCount uint64)    // called about every 128 entries; may be nil
}

// Result is what a verification found.
type Result struct {
	Whole      bool // every entry verified, and every receipt in the record
	Count      uint64
	Heads      []Place // of the chains that are whole, by name
	FirstWrong *Place  // the first entry that is not whole; nil: none, or what is wrong is no single entry
	Sentence   string  // what was found, for a person
}

// Verify recomputes chains up to their heads at the time of the call; appends may go on meanwhile. An error means that
// nothing was verified.
func (r *Record) Verify(ctx context.Context, o VerifyOptions) (Result, error) {
	st, err := r.open()
	if err != nil {
		return Result{}, err
	}
	return verify(ctx, st, o)
}

// VerifyFile verifies a record file without changing it, whether or not a service has it open.
func VerifyFile(ctx context.Context, path string, o VerifyOptions, so store.Options) (Result, error) {
	so.ReadOnly = true
	st, err := store.Open(path, so)
	if errors.Is(err, store.ErrRead) || errors.Is(err, store.ErrDamaged) {
		return Result{Sentence: "The file cannot be read: " + err.Error() + "."}, nil
	}
	if err != nil {
		return Result{}, err
	}
	res, err := verify(ctx, st, o)
	if err := errors.Join(err, st.Still(), st.Close()); err != nil {
		return Result{}, err
	}
	return res, nil
}

// verification is one run.
type verification struct {
	store  *store.Store
	opts   VerifyOptions
	result Result
	marked int64           // entries up to this sequence are found by tables beside them
	want   store.Counts    // of these, by the entries
	later  map[string]bool // request ids of those beyond
}

// wholeSentence says what was found whole, for a person.
func wholeSentence(entries, chains, receipts int) string {
	some := func(n int, one, many string) string {
		if n == 1 {
			return "1 " + one
		}
		return fmt.Sprintf("%d %s", n, many)
	}
	s := fmt.Sprintf("The record is whole: %s in %s", some(entries, "entry", "entries"), some(chains, "chain", "chains"))
	if receipts > 0 {
		s += ", and " + some(receipts, "receipt", "receipts") + " found in it"
	}
	return s + "."
}

func verify(ctx context.Context, st *store.Store, o VerifyOptions) (Result, error) {
	v := &verification{store: st, opts: o, later: map[string]bool{}}
	err := v.run(ctx)
	if ctx.Err() != nil {
		return Result{}, ctx.Err()
	}
	var at *EntryError
	switch {
	case err == nil:
		v.result.Whole = true
		v.result.Sentence = wholeSentence(int(v.result.Count), len(v.result.Heads), len(o.Receipts))
	case errors.As(err, &at):
		v.result.FirstWrong = &at.Place
		v.result.Sentence = "Not whole: " + err.Error() + "."
	default:
		v.result.Sentence = "Not whole: " + err.Error() + "."
	}
	return v.result, nil
}

// run verifies chain after chain, the receipts, and then what belongs to no entry.
func (v *verification) run(ctx context.Context) error {
	heads, newest, err := v.store.Heads(ctx)
	if err != nil {
		return err
	}
	if v.marked, err = v.store.Marked(ctx); err != nil {
		return err
	}
	v.marked = min(v.marked, newest)
	for _, h := range heads {
		if v.opts.Chain != "" && v.opts.Chain != h.Chain {
			continue
		}
		if err := v.chain(ctx, h); err != nil {
			return err
		}
		v.result.Heads = append(v.result.Heads, h)
	}
	if v.opts.Chain != "" && len(v.result.Heads) == 0 {
		return fmt.Errorf("chain %q: %w", v.opts.Chain, ErrAbsent)
	}
	for _, p := range slices.Concat(v.opts.Receipts, v.opts.Kept) {
		if _, err := holds(ctx, v.store, p); err != nil {
			return err
		}
	}
	if v.opts.Chain != "" {
		return nil
	}
	return v.file(ctx, newest)
}

// chain verifies one chain from its first entry.
func (v *verification) chain(ctx context.Context, head Place) error {
	var fold Folder
	if v.opts.Fold != nil {
		fold = v.opts.Fold(head.Chain)
	}
	return walk(ctx, v.store, span{chain: head.Chain, from: 1, head: head}, func(e Entry) error {
		if err := v.indexed(ctx, e); err != nil {
			return err
		}
		if err := foldOne(fold, e); err != nil {
			return &EntryError{Place: e.Place(), Cause: err}
		}
		if v.result.Count++; v.opts.Progress != nil && v.result.Count%pageRows == 0 {
			v.opts.Progress(v.result.Count)
		}
		return nil
	})
}

func (v *verification) indexed(ctx context.Context, e Entry) error {
	v.want.Entries++
	if e.Sequence <= v.marked {
		v.want.Marks++
		v.want.Leaves += uint64(len(e.LeaveIDs))
		v.want.Rules += uint64(len(e.RuleIDs))
	} else if id := e.Request.ID; id != "" {
		if v.later[id] {
			return &EntryError{Place: e.Place(), Cause: fmt.Errorf("%w: its request id %q is that of another entry too", ErrWrong, id)}
		}
		v.later[id] = true
	}
	if ok, err := v.store.Indexed(ctx, v.marked, store.Row{Place: e.Place(), Sequence: e.Sequence, State: e.State, Index: indexOf(&e)}); !ok {
		return &EntryError{Place: e.Place(), Cause: errors.Join(fmt.Errorf("%w: it is not found by its place, time, rig, request id, leave or rule ids", ErrWrong), err)}
	}
	return nil
}

func foldOne(fold Folder, e Entry) error {
	if fold == nil {
		return nil
	}
	if !e.State {
		return fold.Apply(e)
	}
	want, err := fold.State()
	if err != nil {
		return err
	}
	if string(want) != string(e.Body) {
		return fmt.Errorf("%w: the state it holds is not what the entries before it make", ErrWrong)
	}
	return nil
}

// file verifies that nothing stands in the file that no entry accounts for, and the file's own structure.
func (v *verification) file(ctx context.Context, newest int64) error {
	got, err := v.store.Count(ctx, newest, v.marked)
	if err != nil {
		return err
	}
	if got != v.want {
		return fmt.Errorf("%w: %s", ErrWrong, strays(got, v.want))
	}
	return v.store.Check(ctx)
}

// strays says of which rows the file holds more or fewer than the chains account for.
func strays(got, want store.Counts) string {
	var out []string
	for _, one := range []struct {
		of        string
		got, want uint64
	}{
		{"entries", got.Entries, want.Entries}, {"marks of entries", got.Marks, want.Marks},
		{"marks of permits, leaves and locks", got.Leaves, want.Leaves}, {"marks of rules", got.Rules, want.Rules},
	} {
		if one.got != one.want {
			out = append(out, fmt.Sprintf("the file holds %d %s, where its chains account for %d", one.got, one.of, one.want))
		}
	}
	return strings.Join(out, "; ")
}
