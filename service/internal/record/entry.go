package record

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/store"
)

// Hash is the SHA-256 of an entry.
type Hash = store.Hash

// ServiceChain is the chain for what belongs to no group: start, limits, identities, unknown rigs.
const ServiceChain = "service"

// KindState is the kind of a state entry. Drafts may not use it.
const KindState = "state"

// StateEvery is how often a chain gets a state entry: the first append that finds so many entries since the last one puts
// one before itself. The design's figure.
const StateEvery = 1000

// Bounds of a draft: far beyond what an honest one needs, so that one request cannot fill the memory or the disk.
// Common practice, no source.
const (
	maxTextBytes = 4096
	maxListCount = 1000
	maxBodyBytes = 64 << 20
)

// Head is the last entry of a chain; Number 0 and a zero Hash before the first.
type Head struct {
	Number uint64
	Hash   Hash
}

// Place names an entry and, by its hash, all before it: the receipt that an asker keeps.
type Place = store.Place

// Request identifies what was asked: an id that is used once, and the SHA-256 of the bytes asked under it.
type Request struct {
	ID     string // empty: an entry without a request
	Digest Hash
}

// Index is what entries are found by; the hash covers it.
type Index struct {
	Kind     string
	Rig      string
	Asker    string
	Request  Request
	LeaveIDs []string // permits, sync leaves and locks that this entry makes
	Verdict  string
	RuleIDs  []string // rules that held or denied
	Sentence string   // one line for a person
}

// Draft is an entry before it has a place.
type Draft struct {
	Chain string
	Time  time.Time // by the service's clock
	Index
	Body []byte // copied by Append
	// Awaited: who appends it calls Wait at once, and flushes it there if nobody else does; who cannot calls Nudge. Otherwise the flusher is woken.
	Awaited bool
	room    []byte // where to, if it is long enough; Append sees to it
}

// Entry is one entry in its place.
type Entry struct {
	Chain    string
	Number   uint64
	Previous Hash
	Time     time.Time // UTC
	State    bool      // the body is the state of the chain's owner before this entry
	Index
	Hash     Hash
	Sequence int64  // order over all chains; not covered by the hash; 0 until flushed
	Body     []byte // nil in listings
	Stored   []byte // head and body, as the hash covers them; nil in listings
}

// Place returns where the entry is.
func (e Entry) Place() Place { return Place{Chain: e.Chain, Number: e.Number, Hash: e.Hash} }

// Head returns the head that the chain had when this entry was its last.
func (e Entry) Head() Head { return Head{Number: e.Number, Hash: e.Hash} }

// DraftError names every field of a draft that cannot be kept.
type DraftError struct{ Faults []string }

// Error lists the faults.
func (e *DraftError) Error() string {
	return "the entry cannot be kept: " + strings.Join(e.Faults, "; ")
}

// Unwrap gives the class.
func (e *DraftError) Unwrap() error { return ErrDraft }

// check finds all that is wrong with a draft.
func (d Draft) check() error {
	var faults []string
	text := func(name, v string, need bool) {
		switch {
		case need && v == "":
			faults = append(faults, name+" is empty")
		case len(v) > maxTextBytes:
			faults = append(faults, fmt.Sprintf("%s has %d bytes, want at most %d", name, len(v), maxTextBytes))
		case !utf8.ValidString(v) || strings.IndexByte(v, 0) >= 0 || strings.IndexByte(v, '\n') >= 0 || strings.IndexByte(v, '\r') >= 0:
			faults = append(faults, name+" is no single line of UTF-8")
		}
	}
	text("chain", d.Chain, true)
	text("kind", d.Kind, true)
	text("rig", d.Rig, false)
	text("asker", d.Asker, false)
	text("request id", d.Request.ID, false)
	text("verdict", d.Verdict, false)
	text("sentence", d.Sentence, false)
	for _, l := range []struct {
		name string
		ids  []string
	}{{"leave ids", d.LeaveIDs}, {"rule ids", d.RuleIDs}} {
		if len(l.ids) > maxListCount {
			faults = append(faults, fmt.Sprintf("%s: %d of them, want at most %d", l.name, len(l.ids), maxListCount))
			continue
		}
		seen := map[string]bool{}
		for i, id := range l.ids {
			text(fmt.Sprintf("%s[%d]", l.name, i), id, true)
			if seen[id] {
				faults = append(faults, fmt.Sprintf("%s[%d] repeats %q", l.name, i, id))
			}
			seen[id] = true
		}
	}
	if d.Kind == KindState {
		faults = append(faults, "kind is "+KindState+", which the record writes itself")
	}
	if d.Request.ID == "" && d.Request.Digest != (Hash{}) {
		faults = append(faults, "a request digest without a request id")
	}
	if ns := d.Time.UnixNano(); !time.Unix(0, ns).Equal(d.Time) {
		faults = append(faults, "time is outside the years 1678 to 2262")
	}
	if len(d.Body) > maxBodyBytes {
		faults = append(faults, fmt.Sprintf("body has %d bytes, want at most %d", len(d.Body), maxBodyBytes))
	}
	if len(faults) > 0 {
		return &DraftError{Faults: faults}
	}
	return nil
}

// Classes of failure.
var (
	ErrDraft   = errors.New("the entry cannot be kept")
	ErrNotHead = errors.New("the chain has moved on")
	ErrReused  = errors.New("the request id was used for something else")
	ErrDown    = errors.New("the record is down")
	ErrFull    = errors.New("too many entries wait for the disk")
	ErrClosed  = errors.New("the record is closed")
	ErrAbsent  = store.ErrAbsent
	ErrLost    = errors.New("the record lacks entries that were answered")
	ErrWrong   = errors.New("an entry is not whole")
)
