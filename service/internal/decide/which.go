package decide

import (
	"errors"
	"fmt"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// tells is what the record has of a permit that is not the rig's last one; empty: it is, or none is named. The record may have to be read, so
// no turn is held meanwhile.
func (d *Decider) tells(g *group, permit string) string {
	g.mu.Lock()
	last := g.last
	g.mu.Unlock()
	if permit == "" || permit == last {
		return ""
	}
	return d.which(g, permit)
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
