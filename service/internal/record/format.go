package record

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/store"
)

// magic begins every entry of format 1. A new format gets a new one; readers keep every old one.
const magic = "KCE1"

// encodeHead writes the head of an entry; Hash, Sequence and Stored are not part of it.
func encodeHead(e Entry) []byte {
	b := make([]byte, 0, 256+len(e.Sentence))
	b = append(b, magic...)
	b = appendText(b, e.Chain)
	b = binary.BigEndian.AppendUint64(b, e.Number)
	b = append(b, e.Previous[:]...)
	b = binary.BigEndian.AppendUint64(b, uint64(e.Time.UnixNano()))
	flags := byte(0)
	if e.State {
		flags = 1
	}
	b = append(b, flags)
	b = appendText(appendText(appendText(b, e.Kind), e.Rig), e.Asker)
	b = appendText(b, e.Request.ID)
	b = append(b, e.Request.Digest[:]...)
	b = appendList(b, e.LeaveIDs)
	b = appendText(b, e.Verdict)
	b = appendList(b, e.RuleIDs)
	b = appendText(b, e.Sentence)
	return binary.BigEndian.AppendUint64(b, uint64(len(e.Body)))
}

func appendText(b []byte, s string) []byte {
	return append(binary.BigEndian.AppendUint32(b, uint32(len(s))), s...)
}

func appendList(b []byte, list []string) []byte {
	b = binary.BigEndian.AppendUint32(b, uint32(len(list)))
	for _, s := range list {
		b = appendText(b, s)
	}
	return b
}

// hashOf is the hash of an entry in its two parts.
func hashOf(head, body []byte) Hash {
	h := sha256.New()
	_, _ = h.Write(head) // a hash never fails
	_, _ = h.Write(body)
	return Hash(h.Sum(nil))
}

// decodeHead reads a head back. It accepts what encodeHead writes and nothing else, and returns the length of the body.
func decodeHead(b []byte) (Entry, uint64, error) {
	r := reader{b: b}
	var e Entry
	if string(r.take(4)) != magic {
		return Entry{}, 0, fmt.Errorf("%w: it does not begin with %q", ErrWrong, magic)
	}
	e.Chain = r.text()
	e.Number = r.uint64()
	e.Previous = r.hash()
	e.Time = time.Unix(0, int64(r.uint64())).UTC()
	flags := r.take(1)
	e.State = len(flags) == 1 && flags[0] == 1
	if len(flags) == 1 && flags[0] > 1 {
		r.fail("flags that this format does not know")
	}
	e.Kind, e.Rig, e.Asker = r.text(), r.text(), r.text()
	e.Request = Request{ID: r.text(), Digest: r.hash()}
	e.LeaveIDs = r.list()
	e.Verdict = r.text()
	e.RuleIDs = r.list()
	e.Sentence = r.text()
	body := r.uint64()
	if len(r.b) > 0 {
		r.fail("bytes after its end")
	}
	if r.err != nil {
		return Entry{}, 0, fmt.Errorf("%w: %w", ErrWrong, r.err)
	}
	return e, body, nil
}

// reader takes an encoding apart; after a failure what it yields is of no use, and the first is told.
type reader struct {
	b   []byte
	err error
}

func (r *reader) fail(what string) {
	if r.err == nil {
		r.err = errors.New(what)
	}
}

func (r *reader) take(n uint64) []byte {
	if uint64(len(r.b)) < n {
		r.fail("cut short")
		return nil
	}
	out := r.b[:n]
	r.b = r.b[n:]
	return out
}

func (r *reader) uint32() uint32 {
	if b := r.take(4); b != nil {
		return binary.BigEndian.Uint32(b)
	}
	return 0
}

func (r *reader) uint64() uint64 {
	if b := r.take(8); b != nil {
		return binary.BigEndian.Uint64(b)
	}
	return 0
}

func (r *reader) hash() (h Hash) {
	copy(h[:], r.take(store.HashSize))
	return h
}

func (r *reader) text() string {
	s := string(r.take(uint64(r.uint32())))
	if !utf8.ValidString(s) {
		r.fail("a text that is not UTF-8")
	}
	return s
}

func (r *reader) list() []string {
	n := r.uint32()
	if uint64(n)*4 > uint64(len(r.b)) {
		r.fail("a list longer than the entry")
		return nil
	}
	var out []string
	for range n {
		out = append(out, r.text())
	}
	return out
}

// fromRow reads an entry and proves it against its own hash and its columns. Without a body (listings) the hash cannot be
// proven; the columns are.
func fromRow(row store.Row, whole bool) (Entry, error) {
	e, body, err := decodeHead(row.Head)
	if err != nil {
		return Entry{}, &EntryError{Place: row.Place, Cause: err}
	}
	e.Hash, e.Sequence = row.Hash, row.Sequence
	if whole {
		if uint64(len(row.Body)) != body || hashOf(row.Head, row.Body) != row.Hash {
			return Entry{}, &EntryError{Place: row.Place, Cause: fmt.Errorf("%w: its hash does not fit its bytes", ErrWrong)}
		}
		e.Stored = append(append(make([]byte, 0, len(row.Head)+len(row.Body)), row.Head...), row.Body...)
		e.Body = e.Stored[len(row.Head):]
	}
	if column := differs(e, row); column != "" {
		return Entry{}, &EntryError{Place: row.Place, Cause: fmt.Errorf("%w: its column %s is not what the entry says", ErrWrong, column)}
	}
	return e, nil
}

// differs names the first column that is not what the entry says.
func differs(e Entry, row store.Row) string {
	for _, c := range []struct {
		name string
		same bool
	}{
		{"chain", e.Chain == row.Chain}, {"number", e.Number == row.Number}, {"previous", e.Previous == row.Previous},
		{"time_ns", e.Time.UnixNano() == row.TimeNanos}, {"kind", e.Kind == row.Kind}, {"rig", e.Rig == row.Rig},
		{"asker", e.Asker == row.Asker}, {"request_id", e.Request.ID == row.RequestID}, {"verdict", e.Verdict == row.Verdict},
		{"state", e.State == row.State},
	} {
		if !c.same {
			return c.name
		}
	}
	return ""
}

// toRow makes the bytes of an entry that has its place, and its hash. It writes over room, if that is enough.
func toRow(e *Entry, room []byte) store.Row {
	head := encodeHead(*e)
	n := len(head)
	e.Stored = append(append(room[:0], head...), e.Body...)
	e.Body = e.Stored[n:]
	e.Hash = sha256.Sum256(e.Stored)
	return store.Row{Place: e.Place(), Previous: e.Previous, Head: e.Stored[:n:n], Body: e.Body, State: e.State, Index: indexOf(e)}
}

// indexOf is what an entry is found by.
func indexOf(e *Entry) store.Index {
	return store.Index{TimeNanos: e.Time.UnixNano(), Kind: e.Kind, Rig: e.Rig, Asker: e.Asker, RequestID: e.Request.ID, Verdict: e.Verdict,
		LeaveIDs: e.LeaveIDs, RuleIDs: e.RuleIDs}
}

// EntryError says which entry is not whole, and how.
type EntryError struct {
	Place Place // chain and number by which it was found
	Cause error
}

// Error names the entry.
func (e *EntryError) Error() string {
	return fmt.Sprintf("entry %d of chain %q: %v", e.Place.Number, e.Place.Chain, e.Cause)
}

// Unwrap gives the cause.
func (e *EntryError) Unwrap() error { return e.Cause }
