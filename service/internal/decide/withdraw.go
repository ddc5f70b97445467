package decide

import (
	"errors"
	"fmt"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// Withdraw takes back the leave of a rig, or, with an empty name, of all rigs: in memory at once, without waiting for a turn or for
// the disk; it is recorded afterwards. It returns the ids taken back and whether the rig is known.
func (d *Decider) Withdraw(rigName, asker, reason string, sent state.Exchanged) (ids []string, known bool) {
	groups := d.all()[1:]
	if rigName != "" {
		g := d.groups[rigName]
		if g == nil {
			return nil, false
		}
		groups = []*group{g}
	}
	why := "taken back by " + nameOr(asker)
	if reason != "" {
		why += ": " + reason
	}
	for _, g := range groups {
		ids = append(ids, g.takeBack(why)...)
		go d.recordWithdrawal(g, why, asker, sent)
	}
	return ids, true
}

// takeBack withdraws what is open, in memory, and returns its ids.
func (g *group) takeBack(why string) []string {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.takes++
	ids := g.open
	g.open = nil
	if len(ids) > 0 && g.withdrawn == nil {
		g.withdrawn = map[string]string{}
	}
	for _, id := range ids {
		g.withdrawn[id] = why
	}
	return ids
}

// recordWithdrawal puts a withdrawal on record; where that fails, the next entry of the chain shows the state that it made.
func (d *Decider) recordWithdrawal(g *group, why, asker string, sent state.Exchanged) {
	// The error is the record's own: it is down, says so in health, and no leave goes out meanwhile.
	_ = d.withdraw(g, why, asker, sent)
}

// withdraw puts what was taken back into the state and records it.
func (d *Decider) withdraw(g *group, why, asker string, sent state.Exchanged) error {
	g.turn.Lock()
	g.settle()
	s := g.live
	g.setOpen()
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Withdrawn, asker: asker, sentence: "Leave is over: " + why + ".", request: Request{Sent: sent},
		body: state.Body{Event: state.Event{After: &s}},
	}, nil, d.parts.Now())
	g.turn.Unlock()
	if err != nil {
		return fmt.Errorf("recording a withdrawal: %w", err)
	}
	return w.Wait()
}

func absentIsNil(err error) error {
	if errors.Is(err, record.ErrAbsent) {
		return nil
	}
	return err
}

// LapseAll ends what time alone has ended, so that a rig nobody asks about does not keep an open permit; called now and then.
func (d *Decider) LapseAll() {
	now := d.parts.Now()
	for _, g := range d.all()[1:] {
		g.turn.Lock()
		g.settle()
		s, notices := pose.Lapse(g.live, now)
		if len(notices) > 0 {
			// Not recorded here fails safe: it is lapsed again, and recorded, with the next question.
			_, _ = d.put(g, d.parts.Record.Head(g.name), entry{
				kind: state.Reported, asker: Ourselves, sentence: notices[0].Sentence,
				body: state.Body{Event: state.Event{After: &s}, Notices: notices},
			}, nil, now)
			g.setOpen()
		}
		g.turn.Unlock()
	}
}
