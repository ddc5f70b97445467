package decide

import (
	"fmt"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
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
	_, _, _, err := d.Lock("", Ourselves, because+toAccept, d.parts.Now(), Request{})
	return err
}

// toAccept ends the reason of each lock that TakeLoss sets.
const toAccept = ": look at every rig, home it, then release this lock to accept the loss"

// OfLoss tells whether a lock was set for a loss: it is the only one that the service sets on all rigs, and rpc refuses its name to persons.
func OfLoss(l question.Lock) bool { return l.SetBy == Ourselves && l.Rig == "" }

// Losses gathers the losses that are on a record while that is verified: what is left of it is whole, and who reads that should know that it is not all. The
// zero value is ready for one verification.
type Losses struct {
	found   []loss
	ofRigs  []string // where it is on record of a rig's chain that entries of it are gone
	service bool     // the chain was looked through on which every loss is, with who accepted it
}

// loss is one of them.
type loss struct {
	lock, because string
	told          string // where it is on record
	accepted      string // by whom and where; empty: by nobody yet
}

// Fold begins the fold of a chain, as state.NewFold does.
func (l *Losses) Fold(chain string) record.Folder {
	l.service = l.service || chain == state.Service
	return &lossFold{Folder: state.NewFold(chain), losses: l}
}

// Sentences says each loss for a person, the first that was found first.
func (l *Losses) Sentences() []string {
	var out []string
	for _, one := range l.found {
		who := "nobody has accepted it yet"
		if one.accepted != "" {
			who = "it was accepted by " + one.accepted
		}
		out = append(out, fmt.Sprintf("A loss is on record in %s, and %s: %s.", one.told, who, one.because))
	}
	if l.service {
		return out // they are among these
	}
	for _, at := range l.ofRigs {
		out = append(out, fmt.Sprintf("A loss is on record in %s: %s. Which, and who accepted it, is told by the chain %s.", at, entriesGone, state.Service))
	}
	return out
}

// lossFold is the fold of a chain that looks for losses.
type lossFold struct {
	record.Folder
	losses *Losses
}

// Apply takes one entry in.
func (f *lossFold) Apply(e record.Entry) error {
	if e.Kind == state.LockKind || e.Kind == state.Reported && e.Asker == Ourselves {
		if b, err := state.Decode(e.Body); err == nil { // else the fold itself says so
			f.losses.take(b, e)
		}
	}
	return f.Folder.Apply(e)
}

// entriesGone is why nothing is known of a rig of whose chain entries are gone.
const entriesGone = "entries are gone from the record"

// tellsGone tells whether a notice says so. Entries of before notices had codes tell it by how the sentence begins, in the words of then.
func tellsGone(n pose.Notice) bool {
	return n.Code == pose.EntriesGone || n.Code == "" && n.Kind == pose.PoseLost && strings.HasPrefix(n.Sentence, "entries are gone from the record")
}

func (l *Losses) take(b state.Body, e record.Entry) {
	at, event := fmt.Sprintf("%s/%d", e.Chain, e.Number), b.Event
	if slices.ContainsFunc(b.Notices, tellsGone) {
		l.ofRigs = append(l.ofRigs, at)
	}
	for _, lock := range event.Set {
		if OfLoss(lock) {
			l.found = append(l.found, loss{lock: lock.ID, because: strings.TrimSuffix(lock.Reason, toAccept), told: at})
		}
	}
	for i := range l.found {
		if slices.Contains(event.Released, l.found[i].lock) {
			l.found[i].accepted = fmt.Sprintf("%s in %s", e.Asker, at)
		}
	}
}

// unrecorded puts on a rig's chain that nothing is known of it.
func (d *Decider) unrecorded(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	s, notices := pose.Unrecorded(d.world(g), g.live, entriesGone)
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
