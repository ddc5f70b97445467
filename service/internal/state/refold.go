package state

import (
	"encoding/json"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
)

// NewRefold begins the fold of a chain at a start. It gives what NewFold gives and makes nothing of what the fold does not read: facts, findings and the
// bytes that were exchanged are most of an entry, and a start reads up to a thousand of them for each rig.
func NewRefold(string) record.Folder { return &Fold{Chain: New(), lean: true} }

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
