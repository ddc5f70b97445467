package rig

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// FindKind says what a find is about, the worst first.
type FindKind int

// Kinds of finds.
const (
	Replaced    FindKind = iota // a part written out that takes the place of one that the form makes
	Overlaps                    // parts that overlap where the rig stands, in some of their states
	Mirrored                    // a description that looks mirrored, back to front or upside down
	OtherUnit                   // a number that looks like another unit
	TooNear                     // parts nearer where the rig stands than their margins ask
	WideTravel                  // travel wider than what is clear
	RestHeld                    // home or a place of rest to which no motion is allowed, by how exactly home is known
	Untold                      // what an alt-azimuth mount cannot tell, so that nothing goes by its own map
	SmallMargin                 // margins smaller than the rig's own uncertainty
	Touching                    // a pair that touches, to be listed in always_touch if it always does
	Unchanging                  // pairs whose gap no motion changes
	Overruns                    // an approach that runs out of travel
	Unused                      // a number that nothing uses
	Old                         // what was last seen long ago
	OpenMesh                    // a mesh whose pieces hold nothing
	Idle                        // a part that nothing comes near at any pose
	NotKnown                    // something that was not settled within the work that a check may take
)

// Find is one thing in a file that loads which a person should look at again, or, where Info, should only know of.
type Find struct {
	File   string
	Line   int    // from 1; 0: the file as a whole
	Key    string // dotted, as in Fault
	Kind   FindKind
	Info   bool // nothing needs to be done
	Words  string
	Remedy string
}

// String gives the find as one line for a person.
func (f Find) String() string {
	return f.Place() + ": " + f.Words + "; " + f.Remedy
}

// Place is where in which file.
func (f Find) Place() string {
	place := f.File
	if f.Line > 0 {
		place = fmt.Sprintf("%s:%d", f.File, f.Line)
	}
	if f.Key != "" {
		place += ": " + f.Key
	}
	return place
}

// Ordered sorts finds: those that only are to be known last, then by kind, then by place.
func Ordered(all []Find) []Find {
	slices.SortStableFunc(all, func(a, b Find) int {
		last := func(f Find) int { return map[bool]int{true: 1}[f.Info] }
		return cmp.Or(cmp.Compare(last(a), last(b)), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line))
	})
	return all
}

// SayFinds writes finds in their order for a person; nothing where there are none.
func SayFinds(all []Find) string {
	var b strings.Builder
	for i, f := range all {
		switch {
		case i == 0 && !f.Info:
			Say(&b, "Look at again, the worst first:")
		case f.Info && (i == 0 || !all[i-1].Info):
			Say(&b, "To know, nothing is wrong:")
		}
		b.WriteString("  " + f.Place() + "\n") // unbroken, however long, for who goes there
		Say(&b, "    %s", sentence(f.Words)+".")
		if i+1 == len(all) || all[i+1].Kind != f.Kind || all[i+1].Remedy != f.Remedy { // of several alike, once
			Say(&b, "    %s", sentence(f.Remedy)+".")
		}
	}
	return b.String()
}

// Find makes a find at a key of the file; where the key is left out, at the block that would hold it.
func (r *Rig) Find(kind FindKind, key, words, remedy string) Find {
	f := Find{Key: key, Kind: kind, Words: words, Remedy: remedy}
	for at := key; ; {
		if p, known := r.places[at]; known {
			f.File, f.Line = p.file, p.line
			return f
		}
		i := strings.LastIndexByte(at, '.')
		if i < 0 {
			f.File = r.places[""].file
			return f
		}
		at = at[:i]
	}
}

// spot is a place of a file.
type spot struct {
	file string
	line int
}

// placesOf lists where the keys of a file stand, down to those of a list's entries; "" is the file.
func placesOf(top *node) map[string]spot {
	out := map[string]spot{"": {file: top.file}}
	var walk func(n *node, path string, depth int)
	walk = func(n *node, path string, depth int) {
		for _, e := range n.entries {
			key := join(path, e.key)
			out[key] = spot{e.place.file, e.place.line}
			if depth > 0 {
				walk(e.value, key, depth-1)
			}
		}
		for i, c := range n.items {
			if c.kind == mapping {
				key := fmt.Sprintf("%s.%d", path, i+1)
				out[key] = spot{c.file, c.line}
			}
		}
	}
	const deepest = 2 // tape.tripod.hub_top_mm
	walk(top, "", deepest)
	return out
}

// keys of the form that tell where a part stands that the form made, by the part's name.
var keys = map[string]string{
	"hub": "tape.tripod.hub_top_mm", "pier": "tape.pier.height_mm", "mount body": "tape.head_diameter_mm", "counterweight bar": "tape.bar_diameter_mm",
	"counterweights": "tape.weights_to_mm", "tube": "tape.tube_diameter_mm", "dew shield": "tape.shield_diameter_mm", "camera": "tape.camera_radius_mm",
	"fork base": "tape.fork.base_diameter_mm", "right arm": "tape.fork.arm_length_mm", "left arm": "tape.fork.arm_length_mm",
}

// KeyOf returns the key of the file that a part comes from.
func (r *Rig) KeyOf(part int) string {
	p := &r.Parts[part]
	switch {
	case p.From != "tape":
		return p.From
	case keys[p.Name] != "":
		return keys[p.Name]
	case strings.HasPrefix(p.Name, "leg") || strings.HasSuffix(p.Name, " leg"):
		return "tape.tripod.leg_foot_radius_mm"
	case p.Name == "wall":
		return "tape.walls.1"
	case strings.HasPrefix(p.Name, "wall "):
		return "tape.walls." + strings.TrimPrefix(p.Name, "wall ")
	}
	return "tape"
}
