package decide

import (
	"errors"
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// tellWhich says in the notices that a permit is not the rig's last one what the record has of it. Requires the turn.
func (d *Decider) tellWhich(g *group, permit string, notices []pose.Notice) {
	for i := range notices {
		if before, after, found := strings.Cut(notices[i].Sentence, pose.NotLast); found {
			notices[i].Sentence = before + pose.NotLast + d.which(g, permit) + after
		}
	}
}

// which says what became of a permit that is not the rig's last one; empty where the record cannot be asked.
func (d *Decider) which(g *group, id string) string {
	w, err := d.parts.Record.ByLeaveID(nilContext(), id)
	if errors.Is(err, record.ErrAbsent) {
		return " (none of that id was ever given, by what is on record)"
	}
	e := w.Entry // of nothing where the record cannot be asked
	at := fmt.Sprintf("%s/%d at %s UTC", e.Chain, e.Number, e.Time.UTC().Format("2006-01-02 15:04:05"))
	b, err := state.Decode(e.Body)
	switch {
	case err != nil:
		return ""
	case b.Event.After == nil || b.Event.After.Permit == nil || b.Event.After.Permit.ID != id:
		return " (what has that id is no permit: " + at + ")"
	case e.Chain != g.name:
		return " (it was given for another rig: " + at + ")"
	}
	return " (it was given in " + at + ", and is over)"
}
