package decide

import (
	"fmt"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// revised puts on a rig's chain that another file, other limits or other rules judge it from here on than judged its last entry: who reads the record
// later would else find other digests from one entry to the next, and no word of it. Files are read at a start alone, so that it can be only there.
func (d *Decider) revised(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	var all []string
	for _, of := range g.anotherThan() {
		if d.parts.Differs != nil {
			all = append(all, d.parts.Differs(g.member, of, g.judged[of]))
			continue
		}
		all = append(all, fmt.Sprintf("%s %s, it was %s", of, g.member.Revs[of], g.judged[of]))
	}
	if len(all) == 0 {
		return nil
	}
	g.other = strings.Join(all, "; ")
	w, err := d.tellRevised(g, d.parts.Now())
	if err != nil {
		return err
	}
	return w.Wait()
}

// anotherThan is what judges a rig otherwise than it judged the last entry on record. Requires the turn.
func (g *group) anotherThan() (out []string) {
	for _, of := range []string{"rig", "limits", "rules"} {
		if was, is := g.judged[of], g.member.Revs[of]; was != "" && is != "" && was != is {
			out = append(out, of)
		}
	}
	return out
}

// tellRevised appends what was found at the start. Requires the turn.
func (d *Decider) tellRevised(g *group, at time.Time) (record.Written, error) {
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{kind: state.Changed, asker: Ourselves, sentence: "Judged otherwise from here on: " + g.other}, nil, at)
	if err == nil {
		g.judged = g.member.Revs
	}
	return w, err
}

// owesRevised tells whether that is still to be put on record before any entry that was judged by it: at the start the record was down. Requires the turn.
func (g *group) owesRevised() bool { return g.other != "" && len(g.anotherThan()) > 0 }

// Untold says of which rigs it could not be put on record at the start what judges them from here on. No start is refused for it: nothing is judged by that
// entry, a record that is down answers nothing, and once it is not the entry comes before all others. It is nil where there is none.
func (d *Decider) Untold() error { return d.untold }

// Revised says of each rig that is judged otherwise than when the service stopped what is another, by rig.
func (d *Decider) Revised() map[string]string {
	out := map[string]string{}
	for _, name := range d.order {
		g := d.groups[name]
		g.turn.Lock()
		if g.other != "" {
			out[name] = g.other
		}
		g.turn.Unlock()
	}
	return out
}
