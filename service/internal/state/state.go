// Package state is what the service holds, as the fold of its record: apply every entry of a chain in order and the state of its
// rig stands there, after a restart as before it.
//
// A rig's chain carries that rig's state and the locks on it alone; the chain "service" carries the locks on all rigs. An entry's
// body is JSON: what happened (Event), and beside it everything that it was judged on and the bytes that were exchanged, which
// the fold does not read. Fields are added, never renamed, and a version that this program does not know is refused: an old
// entry reads for ever, a newer one is not guessed at. What an entry would say twice it says once (written.go).
//
// The package decides nothing and knows no clock: an Event says what is so afterwards.
package state

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Version is that of the bodies written here; those of versions 1 and 2 are read too.
const Version = 3

// chainVersion is that of the state entries written here.
const chainVersion = 1

// ErrNewer is the class of bodies that a newer program wrote.
var ErrNewer = errors.New("written by a newer keepclear")

// Kinds of entries, as the record's index has them.
const (
	Asked     = "asked"
	Reported  = "reported"
	Withdrawn = "withdrawn"
	LockKind  = "lock"
	Changed   = "changed"
	Rehearsed = "rehearsed"
	Service   = "service"
	Refused   = "refused"
)

// Event is what is so after an entry.
type Event struct {
	After    *question.RigState `json:"after,omitempty"`    // the rig's state; nil: unchanged
	Set      []question.Lock    `json:"set,omitempty"`      // locks set
	Released []string           `json:"released,omitempty"` // ids of locks released
	// Changed is After as it is written where a snapshot stands beside it: the fields that differ from the snapshot's, null for one that is
	// gone. Decode makes After of it.
	Changed map[string]json.RawMessage `json:"changed,omitempty"`
}

// Body is the body of an entry.
type Body struct {
	V        int                `json:"v"`
	Event    Event              `json:"event"`
	Question *question.Question `json:"question,omitempty"`
	Snapshot *question.Snapshot `json:"snapshot,omitempty"`
	Facts    facts.Set          `json:"facts,omitempty"`
	Findings []verdict.Finding  `json:"findings,omitempty"`
	Notices  []pose.Notice      `json:"notices,omitempty"`
	Taken    []string           `json:"taken,omitempty"`     // ids of leave that a lock took back
	Revs     map[string]string  `json:"revisions,omitempty"` // digests, hexadecimal, of what judged it
	Request  Exchanged          `json:"request,omitzero"`
	Response Exchanged          `json:"response,omitzero"`
	Count    int                `json:"count,omitempty"` // of a refusal: how often since the last such entry
	// SolvesBefore says that the solves of the snapshot or, without one, of Event.After (of version 2), are those that the chain held before
	// this entry, and are left out: there are up to 64, and most entries change none. Fold puts them back.
	SolvesBefore bool `json:"solves_before,omitempty"`
	// Kept are those of the chain's solves before this entry, from one index up to another, that Event.After begins with: they are left out of it,
	// for most entries that change any add one. Fold puts them back. Since version 3.
	Kept [2]int `json:"solves_kept,omitzero"`
}

// Exchanged is the exact bytes of one message and the name of its type.
type Exchanged struct {
	Type  string `json:"type,omitempty"`
	Bytes []byte `json:"bytes,omitempty"`
}

// Chain is the state of one chain.
type Chain struct {
	V     int                      `json:"v"`
	Rig   question.RigState        `json:"rig"`
	Locks map[string]question.Lock `json:"locks,omitempty"`
}

// New is the state of a chain without entries. A rig of which nothing is known has no pose.
func New() Chain {
	return Chain{V: chainVersion, Rig: question.RigState{Pose: question.Pose{State: question.Unknown, Because: "the rig was never homed"}}}
}

// Apply takes one event in.
func (c Chain) Apply(e Event) Chain {
	if e.After != nil {
		c.Rig = *e.After
	}
	if len(e.Set)+len(e.Released) > 0 {
		c.Locks = maps.Clone(c.Locks)
		if c.Locks == nil {
			c.Locks = map[string]question.Lock{}
		}
		for _, l := range e.Set {
			c.Locks[l.ID] = l
		}
		for _, id := range e.Released {
			delete(c.Locks, id)
		}
	}
	return c
}

// Held returns the locks in order of their setting.
func (c Chain) Held() []question.Lock {
	out := slices.Collect(maps.Values(c.Locks))
	slices.SortFunc(out, func(a, b question.Lock) int {
		if n := a.Set.Compare(b.Set); n != 0 {
			return n
		}
		return slices.Compare([]byte(a.ID), []byte(b.ID))
	})
	return out
}

// Encode writes the state for a state entry.
func (c Chain) Encode() ([]byte, error) {
	c.V = chainVersion
	return json.Marshal(c)
}

// DecodeChain reads the body of a state entry.
func DecodeChain(body []byte) (Chain, error) {
	var c Chain
	if err := json.Unmarshal(body, &c); err != nil {
		return Chain{}, fmt.Errorf("reading a state entry: %w", err)
	}
	if c.V > chainVersion {
		return Chain{}, fmt.Errorf("%w: the state entry is of version %d, this program knows %d", ErrNewer, c.V, chainVersion)
	}
	return c, nil
}

// Fold is a fold in progress: record.Folder.
type Fold struct {
	Chain Chain
	lean  bool   // what the fold does not read is not looked at
	later []byte // the body of the last entry, not taken in yet, of which the next may leave nothing; lean alone
	last  []byte // the body of the last entry that is no state
}

// NewFold begins a fold of any chain.
func NewFold(string) record.Folder { return &Fold{Chain: New()} }

// Apply takes one entry of the chain in.
func (f *Fold) Apply(e record.Entry) error {
	if e.State {
		c, err := DecodeChain(e.Body)
		if err != nil {
			return err
		}
		f.Chain, f.later = c, nil
		return nil
	}
	f.last = e.Body
	if f.lean {
		return f.postpone(e.Body)
	}
	return f.apply(e.Body)
}

// apply takes the body of an entry in.
func (f *Fold) apply(body []byte) error {
	b, err := f.decode(body)
	if err != nil {
		return err
	}
	if b, err = f.Chain.Fill(b); err != nil {
		return err
	}
	f.Chain = f.Chain.Apply(b.Event)
	return nil
}

// Revisions are the digests of what judged the last entry, by what it is of; nil: there is no entry, or it says none. Of the body nothing else is read.
func (f *Fold) Revisions() map[string]string {
	const begins = `,"revisions":` // within a text its quotation marks would stand escaped
	at := bytes.LastIndex(f.last, []byte(begins))
	if at < 0 {
		return nil
	}
	var out map[string]string
	if err := json.NewDecoder(bytes.NewReader(f.last[at+len(begins):])).Decode(&out); err != nil {
		return nil
	}
	return out
}

// State returns the state so far, as a state entry holds it.
func (f *Fold) State() ([]byte, error) {
	c, err := f.Settled()
	if err != nil {
		return nil, err
	}
	return c.Encode()
}
