package decide

import (
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/state"
)

// revised puts on a rig's chain that another file, other limits or other rules judge it from here on than judged its last entry: who reads the record
// later would else find other digests from one entry to the next, and no word of it. Files are read at a start alone, so that it can be only there.
func (d *Decider) revised(g *group) error {
	g.turn.Lock()
	defer g.turn.Unlock()
	var all []string
	for _, of := range []string{"rig", "limits", "rules"} {
		was, is := g.judged[of], g.member.Revs[of]
		if was == "" || is == "" || was == is {
			continue
		}
		if d.parts.Differs != nil {
			all = append(all, d.parts.Differs(g.member, of, was))
			continue
		}
		all = append(all, fmt.Sprintf("%s %s, it was %s", of, is, was))
	}
	if len(all) == 0 {
		return nil
	}
	g.other = strings.Join(all, "; ")
	w, err := d.put(g, d.parts.Record.Head(g.name), entry{kind: state.Changed, asker: Ourselves, sentence: "Judged otherwise from here on: " + g.other}, nil, d.parts.Now())
	if err != nil {
		return err
	}
	g.judged = g.member.Revs
	return w.Wait()
}

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
