package decide

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// entry is what goes on record, before it is encoded.
type entry struct {
	kind, asker, verdict, sentence string
	rig                            string // of an entry on the service's chain, the rig that it is about; empty: none
	request                        Request
	leaves                         []string
	body                           state.Body
	awaited                        bool // whoever puts it waits for it next: see record.Draft
}

// mostScratch is the most that is kept to encode entries in, bytes: above an ordinary one, below a long rehearsal's.
const mostScratch = 128 << 10

// put encodes an entry, appends it on the head that it was judged on, and folds it in. Requires the group's turn. Where it fails
// nothing is changed.
func (d *Decider) put(g *group, head record.Head, e entry, a *Answer, at time.Time) (record.Written, error) {
	if e.kind != state.Changed && g.owesRevised() && head == d.parts.Record.Head(g.name) { // judged on another head it is refused as ever
		if _, err := d.tellRevised(g, at); err == nil {
			head = d.parts.Record.Head(g.name)
		}
	}
	e.body.Revs = g.member.Revs
	e.body.Request = e.request.Sent
	if a != nil {
		stored, err := d.parts.Encode(*a, g.name)
		if err != nil {
			return record.Written{}, fmt.Errorf("encoding the answer: %w", err)
		}
		e.body.Response, a.Stored = stored, stored
		e.leaves = append(e.leaves, leavesOf(a)...)
	}
	for _, l := range e.body.Event.Set {
		e.leaves = append(e.leaves, l.ID)
	}
	if e.request.ID == "" { // a digest tells repeats of an id apart; without one there is nothing to tell
		e.request.Digest = record.Hash{}
	}
	scratch, _ := d.scratch.Get().(*[]byte)
	if scratch == nil {
		scratch = new([]byte)
	}
	defer d.scratch.Put(scratch)
	body, err := g.folded.Write((*scratch)[:0], e.body)
	if err != nil {
		return record.Written{}, err
	}
	if cap(body) <= mostScratch {
		*scratch = body // the record takes a copy of its own
	}
	w, err := d.parts.Record.Append(record.Draft{
		Chain: g.name, Time: at, Body: body, Awaited: e.awaited,
		Index: record.Index{
			Kind: e.kind, Rig: cmp.Or(e.rig, g.rigName()), Asker: e.asker, Request: record.Request{ID: e.request.ID, Digest: e.request.Digest},
			LeaveIDs: e.leaves, Verdict: e.verdict, RuleIDs: objecting(e.body.Findings), Sentence: oneLine(e.sentence),
		},
	}, head)
	if err != nil {
		return record.Written{}, err
	}
	g.folded = g.folded.Apply(e.body.Event)
	if e.body.Event.After != nil {
		g.live = g.folded.Rig
	}
	return w, nil
}

// nudgeIf has the flusher write what waits where an asker broke off, by a panic of ours, who may have appended an awaited entry: nobody would wait for
// it, and it would stay off disk until the next.
func (d *Decider) nudgeIf(broke *bool) {
	if *broke {
		d.parts.Record.Nudge()
	}
}

// putAtHead is put, in a turn of its own, of what changes nothing that is held. A panic of ours leaves the turn free for the next.
func (d *Decider) putAtHead(g *group, e entry, at time.Time) (record.Written, error) {
	g.turn.Lock()
	defer g.turn.Unlock()
	return d.put(g, d.parts.Record.Head(g.name), e, nil, at)
}

func (g *group) rigName() string {
	if g.member.Rig == nil {
		return ""
	}
	return g.name
}

// oneLine keeps a sentence within what the record's index bears.
func oneLine(s string) string {
	out := []rune(s)
	for i, r := range out {
		if r == '\n' || r == '\r' || r == 0 {
			out[i] = ' '
		}
	}
	if len(out) > 1000 {
		out = append(out[:997], '.', '.', '.')
	}
	return string(out)
}

func leavesOf(a *Answer) []string {
	switch {
	case a.Permit != nil:
		return []string{a.Permit.ID}
	case a.Leave != nil:
		return []string{a.Leave.ID}
	}
	return nil
}

// objecting returns the ids of the rules that held or denied, each once.
func objecting(findings []verdict.Finding) []string {
	var out []string
	for _, f := range findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable && !slices.Contains(out, f.Rule) {
			out = append(out, f.Rule)
		}
	}
	return out
}

func (d *Decider) receipt(e record.Entry, since time.Time) Receipt {
	return Receipt{Place: e.Place(), Time: e.Time, Took: d.parts.Now().Sub(since)}
}
