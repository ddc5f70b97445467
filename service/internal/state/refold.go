package state

import (
	"bytes"
	"encoding/json"
	"strconv"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
)

// NewRefold begins the fold of a chain at a start. It gives what NewFold gives, and makes nothing of what the fold does not read (facts, findings and the
// bytes that were exchanged are most of an entry), nor of an entry that the next leaves nothing of: a start reads up to a thousand for each rig, and
// most of them say anew all that is so of the rig. What is not read may be anything at all; verify reads it.
func NewRefold(string) record.Folder { return &Fold{Chain: New(), lean: true} }

// postpone takes an entry in, at the latest when the next comes that does not stand alone.
func (f *Fold) postpone(body []byte) error {
	event, known := eventOf(body)
	if known && bytes.HasPrefix(event, []byte(`}`)) { // nothing happened
		return nil
	}
	if known && standsAlone(body, event) {
		f.later = nil
	} else if _, err := f.Settled(); err != nil {
		return err
	}
	if known && !bytes.Contains(body, []byte(`"set":`)) && !bytes.Contains(body, []byte(`"released":`)) { // locks add up
		f.later = body
		return nil
	}
	return f.apply(body)
}

// Settled returns the chain with every entry taken in.
func (f *Fold) Settled() (Chain, error) {
	body := f.later
	f.later = nil
	if body != nil {
		if err := f.apply(body); err != nil {
			return Chain{}, err
		}
	}
	return f.Chain, nil
}

// Settle takes in what was put off: record.Settler.
func (f *Fold) Settle() error {
	_, err := f.Settled()
	return err
}

// eventOf finds the event in a body that this program, or one before it, wrote: what begins in another way is read as any JSON is.
func eventOf(body []byte) (event []byte, known bool) {
	rest, found := bytes.CutPrefix(body, []byte(`{"v":`))
	version, rest, _ := bytes.Cut(rest, []byte(`,`))
	event, follows := bytes.CutPrefix(rest, []byte(`"event":{`))
	v, _ := strconv.Atoi(string(version)) // 0 where it is no number
	return event, found && follows && v >= 1 && v <= Version
}

// standsAlone tells whether an entry says all that is so of the rig after it, whatever was before. Where a text happens to hold one of the words the
// entry before is read for nothing, no more.
func standsAlone(body, event []byte) bool {
	whole := bytes.HasPrefix(event, []byte(`"after":{`)) || bytes.HasPrefix(event, []byte(`"changed":{`)) // of a snapshot in the same entry
	return whole && !bytes.Contains(body, []byte(`"solves_`))
}

// leanBody is a body of which the fold alone is read: what stands here hides what bears its name in Body.
type leanBody struct {
	Body
	Snapshot *struct {
		Rig question.RigState `json:"rig"`
	} `json:"snapshot"`
	Question unread `json:"question"`
	Facts    unread `json:"facts"`
	Findings unread `json:"findings"`
	Notices  unread `json:"notices"`
	Taken    unread `json:"taken"`
	Revs     unread `json:"revisions"`
	Request  unread `json:"request"`
	Response unread `json:"response"`
}

// unread is a value of any kind that nothing is made of.
type unread struct{}

func (*unread) UnmarshalJSON([]byte) error { return nil }

// decode reads a body as the fold needs it.
func (f *Fold) decode(body []byte) (Body, error) {
	if !f.lean {
		return Decode(body)
	}
	var b leanBody
	err := json.Unmarshal(body, &b)
	if b.Snapshot != nil {
		b.Body.Snapshot = &question.Snapshot{Rig: b.Snapshot.Rig}
	}
	return b.read(err)
}
