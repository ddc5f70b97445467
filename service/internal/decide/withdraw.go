package decide

import (
	"errors"
	"fmt"
	"slices"
	"time"

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
	now := d.here()
	for _, g := range groups {
		taken := g.takeBack(taking{why, now})
		ids = append(ids, taken...)
		go d.recordWithdrawal(g, taken, why, asker, sent)
	}
	return ids, true
}

// here is the time, for whoever may be called by the look at the clock.
func (d *Decider) here() time.Time {
	if d.parts.Here != nil {
		return d.parts.Here()
	}
	return d.parts.Now()
}

// takeBack withdraws what is open, in memory, and returns its ids.
func (g *group) takeBack(by taking) []string {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.takes, g.lastTake = g.takes+1, by
	ids := slices.Concat(g.open, g.replaced)
	g.open, g.replaced = nil, nil
	if len(ids) > 0 && g.withdrawn == nil {
		g.withdrawn = map[string]taking{}
	}
	if len(ids) > 0 && g.owed == nil {
		g.owed = map[string]taking{}
	}
	for _, id := range ids {
		g.withdrawn[id], g.owed[id] = by, by
	}
	return ids
}

// recordWithdrawal puts a withdrawal on record; where that fails, the next entry of the chain shows the state that it made.
func (d *Decider) recordWithdrawal(g *group, taken []string, why, asker string, sent state.Exchanged) {
	// The error is the record's own: it is down, says so in health, and no leave goes out meanwhile.
	_ = d.withdraw(g, taken, why, asker, sent)
}

// withdraw puts what was taken back into the state and records it.
func (d *Decider) withdraw(g *group, taken []string, why, asker string, sent state.Exchanged) error {
	g.turn.Lock()
	g.settle()
	s := g.live
	g.setOpen()
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Withdrawn, asker: asker, sentence: over(taken) + why + ".", request: Request{Sent: sent},
		body: state.Body{Event: state.Event{After: &s}},
	}, nil, d.parts.Now())
	g.turn.Unlock()
	if err != nil {
		return fmt.Errorf("recording a withdrawal: %w", err)
	}
	if err := w.Wait(); err != nil {
		return err
	}
	g.recorded(taken)
	return nil
}

// over begins the sentence of a withdrawal of what was open.
func over(taken []string) string {
	if len(taken) == 0 {
		return "No leave was open: "
	}
	return "Leave is over: "
}

// neverLeft takes leave out of memory whose answer could not be recorded, so that nobody is told of it: a permit that it was to replace
// is in force as before.
func (g *group) neverLeft(a *Answer) {
	g.turn.Lock()
	defer g.turn.Unlock()
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, id := range leavesOf(a) {
		i := slices.Index(g.open, id)
		if i < 0 {
			continue
		}
		g.open = slices.Delete(slices.Clone(g.open), i, i+1)
		if g.withdrawn == nil {
			g.withdrawn = map[string]taking{}
		}
		g.withdrawn[id] = taking{"its entry could not be written, so it never left", a.At}
		if a.replaces != "" {
			g.replaced = append(g.replaced, a.replaces)
		}
	}
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
		d.lapse(g, now)
	}
}

// lapse ends what time alone has ended of one rig. A panic of ours leaves its turn free for the next.
func (d *Decider) lapse(g *group, now time.Time) {
	g.turn.Lock()
	defer g.turn.Unlock()
	g.settle()
	s, notices := pose.Lapse(g.live, now)
	if len(notices) == 0 {
		return
	}
	// Not recorded here fails safe: it is lapsed again, and recorded, with the next question.
	_, _ = d.put(g, d.parts.Record.Head(g.name), entry{
		kind: state.Reported, asker: Ourselves, sentence: notices[0].Sentence,
		body: state.Body{Event: state.Event{After: &s}, Notices: notices},
	}, nil, now)
	g.setOpen()
}
