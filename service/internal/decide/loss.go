package decide

import (
	"fmt"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// TakeLoss locks every rig, on record, where the record lacks entries that it held once: a lock may have been among them. Of the rigs of
// whose chains some are gone nothing is held to be known any more. The named person who releases the lock accepts the loss. Before any question.
func (d *Decider) TakeLoss(lacks []record.Place, because string) error {
	for _, p := range lacks {
		if g := d.groups[p.Chain]; g != nil {
			if err := d.unrecorded(g); err != nil {
				return fmt.Errorf("putting on record that entries of chain %q are gone: %w", p.Chain, err)
			}
		}
	}
	reason := fmt.Sprintf("%s: look at every rig, home it, then release this lock to accept the loss", because)
	_, _, _, err := d.Lock("", Ourselves, reason, d.parts.Now(), Request{})
	return err
}

// unrecorded puts on a rig's chain that nothing is known of it.
func (d *Decider) unrecorded(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	s, notices := pose.Unrecorded(d.world(g), g.live, "entries are gone from the record")
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Reported, asker: Ourselves, sentence: notices[0].Sentence,
		body: state.Body{Event: state.Event{After: &s}, Notices: notices},
	}, nil, d.parts.Now())
	if err != nil {
		return err
	}
	g.setOpen()
	return w.Wait()
}
