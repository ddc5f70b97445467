package limits

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Merge lays the layers over the defaults, widest first: facility, class, rig. Each may only tighten what stands above it.
// A limit without a default takes the first value that any layer states; if none does, that is a fault too. All faults
// come back at once, as Faults inside the error, and with them no set.
func Merge(defs []Definition, layers ...Layer) (Set, error) {
	m := merging{at: make(map[string]*slot, len(defs))}
	slots := make([]slot, len(defs))
	for i, d := range defs {
		m.define(&slots[i], d)
	}
	for _, l := range layers {
		for _, e := range l.Entries {
			m.lay(l, e)
		}
	}
	m.complete(layers)
	if faults := sorted(m.faults); faults != nil {
		return Set{}, faults
	}
	return m.set()
}

// slot is a limit while it is being merged.
type slot struct {
	Limit
	stated bool
}

// merging is the work of one Merge.
type merging struct {
	at     map[string]*slot
	faults Faults
}

func (m *merging) define(s *slot, d Definition) {
	s.Limit = Limit{Definition: d, Origin: "default"}
	if d.Default != nil {
		s.Value, s.stated = *d.Default, true
	}
	m.at[d.key()] = s
}

// lay takes one entry of a layer, or adds the fault that is in it.
func (m *merging) lay(l Layer, e Entry) {
	f := Fault{File: l.File, Line: e.Line, Key: e.Rule + " " + e.Name, Got: fmt.Sprintf("%v", e.Value)}
	s, known := m.at[f.Key]
	v, isNumber := finite(e.Value)
	switch {
	case !known:
		f.Wanted, f.Got, f.Remedy = "a limit that a rule reads", "a name that nobody knows", m.nearest(e)
	case !isNumber:
		f.Wanted, f.Got, f.Remedy = "a finite number", fmt.Sprintf("%#v", e.Value), "write a plain number in the unit of the name"
	case !s.within(v):
		f.Wanted, f.Remedy = s.wantedBound(), "keep within the bound: no layer may go beyond it"
	case s.stated && s.looser(v, s.Value):
		f.Wanted, f.Remedy = s.wantedTighter(), "a file can only tighten: delete the line, or loosen the layer above"
	default:
		if !s.stated || v != s.Value {
			s.Value, s.Origin, s.stated = v, l.Name, true
		}
		return
	}
	m.faults = append(m.faults, f)
}

func (s *slot) wantedBound() string {
	if s.Bound == nil {
		return fmt.Sprintf("a number between %d and %d", -widest, widest)
	}
	return fmt.Sprintf("%s %v (the bound)", s.sense(), *s.Bound)
}

func (s *slot) wantedTighter() string {
	return fmt.Sprintf("%s %v (set by %s)", s.sense(), s.Value, s.Origin)
}

func (s *slot) sense() string {
	if s.SmallerIsSafer {
		return "at most"
	}
	return "at least"
}

// nearest says where a name that nobody knows may have been meant to point.
func (m *merging) nearest(e Entry) string {
	var same []string
	for _, s := range m.at {
		if s.Rule == e.Rule {
			same = append(same, s.Name)
		}
	}
	if len(same) == 0 {
		return "check the rule id; the rules and their limits are listed in policies/limits"
	}
	sort.Strings(same)
	return e.Rule + " has " + strings.Join(same, ", ")
}

// complete finds limits that nobody stated, and travel whose ends are the wrong way round.
func (m *merging) complete(layers []Layer) {
	file := "limits"
	if n := len(layers); n > 0 {
		file = layers[n-1].File
	}
	for key, s := range m.at {
		if !s.stated {
			m.faults = append(m.faults, Fault{File: file, Key: key, Wanted: "a number: this limit has no default", Got: "none", Remedy: "state it in the rig file: " + s.Title})
		}
		high := m.at[s.Rule+" high_deg"]
		if s.Name == "low_deg" && high != nil && s.stated && high.stated && s.Value >= high.Value {
			m.faults = append(m.faults, Fault{File: file, Key: key, Wanted: fmt.Sprintf("less than high_deg, %v", high.Value), Got: fmt.Sprintf("%v", s.Value), Remedy: "low_deg is the smaller axis angle, high_deg the larger"})
		}
	}
}

// set freezes what was merged.
func (m *merging) set() (Set, error) {
	s := Set{at: make(map[name]int, len(m.at)), all: make([]Limit, 0, len(m.at))}
	for i, key := range slices.Sorted(maps.Keys(m.at)) {
		l := m.at[key].Limit
		s.all = append(s.all, l)
		s.at[name{l.Rule, l.Name}] = i
	}
	var err error
	if s.tree, err = tree(s.all); err != nil {
		return Set{}, fmt.Errorf("encoding limits: %w", err)
	}
	s.digest = sha256.Sum256(s.tree)
	return s, nil
}

// tree writes limits as Rego sees them: one level for each part of the rule's id. Equal sets in the same order are equal bytes. A start
// writes it once for every rig, which is why it is no map for json.Marshal.
func tree(all []Limit) ([]byte, error) {
	if !slices.IsSortedFunc(all, byLevel) { // a rule's id is the beginning of another's
		all = slices.SortedStableFunc(slices.Values(all), byLevel)
	}
	out := []byte{'{'}
	var open []string // levels
	for _, l := range all {
		out, open = descend(out, open, strings.Split(l.Rule, "/"))
		value, err := json.Marshal(l.Value)
		if err != nil {
			return nil, err
		}
		out = append(strconv.AppendQuote(separated(out), l.Name), ':')
		out = append(out, value...)
	}
	for range len(open) + 1 {
		out = append(out, '}')
	}
	return out, nil
}

// byLevel orders limits so that those of a level stand together.
func byLevel(a, b Limit) int {
	return slices.Compare(strings.Split(a.Rule, "/"), strings.Split(b.Rule, "/"))
}

// descend closes the levels that are not on the way, and opens those that are still to come.
func descend(out []byte, open, way []string) (after []byte, levels []string) {
	same := 0
	for same < len(open) && same < len(way) && open[same] == way[same] {
		same++
	}
	for range len(open) - same {
		out = append(out, '}')
	}
	for _, part := range way[same:] {
		out = append(strconv.AppendQuote(separated(out), part), ':', '{')
	}
	return out, way
}

// separated puts a comma behind what is there already.
func separated(out []byte) []byte {
	if out[len(out)-1] != '{' {
		out = append(out, ',')
	}
	return out
}
