package season

import (
	"embed"
	"fmt"
	"strings"
	"sync"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
)

//go:embed rigs
var rigFiles embed.FS

// Species is a kind of rig that nights are played with.
type Species struct {
	Mount    string // german, fork, alt-azimuth
	South    bool
	Source   string // encoders, counts, belief, reckoned
	Attested bool   // homed by a person at marks
}

// String names it for people.
func (s Species) String() string {
	half, home := "north", "sensed home"
	if s.South {
		half = "south"
	}
	if s.Attested {
		home = "attested home"
	}
	return s.Mount + " " + half + ", " + s.Source + ", " + home
}

// The same line stands in each of the files.
const countsLines = "  - kind: motor count\n    clutch_side: motor\n    sigma_deg: [0.02, 0.02]"

var sourceLines = map[string]string{
	"encoders": "  - kind: axis encoder\n    clutch_side: axis\n    sigma_deg: [0.01, 0.01]",
	"counts":   countsLines,
	"belief":   "  - kind: unsynced belief\n    clutch_side: motor\n    sigma_deg: [0.05, 0.05]",
	"reckoned": "  - kind: reckoned\n    sigma_deg: [0.02, 0.02]",
}

// files are those of the north.
var files = map[string]string{"german": "whimbrel", "fork": "dunlin", "alt-azimuth": "godwit"}

// southLines are what the south has otherwise.
var southLines = map[string][][2]string{
	"german": {{"latitude_deg: 46.20", "latitude_deg: -46.20"}, {"longitude_deg: 11.10", "longitude_deg: 168.3"},
		{"crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125"}},
	"fork": {{"latitude_deg: 36.4", "latitude_deg: -31.5"}, {"longitude_deg: 22.8", "longitude_deg: 141.2"},
		{"crossing_north_of_hub_mm: 330", "crossing_north_of_hub_mm: -330"}, {"axis2_deg: [-60, 80]", "axis2_deg: [-80, 60]"}},
	"alt-azimuth": {{"latitude_deg: 50.3", "latitude_deg: -41.3"}, {"longitude_deg: -4.6", "longitude_deg: 172.8"}},
}

// text is its rig file.
func (s Species) text() (string, error) {
	b, err := rigFiles.ReadFile("rigs/" + files[s.Mount] + ".yaml")
	if err != nil {
		return "", err
	}
	out := string(b)
	changes := [][2]string{{countsLines, sourceLines[s.Source]}}
	if s.South {
		changes = append(changes, southLines[s.Mount]...)
	}
	if s.Attested {
		changes = append(changes, [2]string{"by: sensor", "by: person"})
	}
	for _, c := range changes {
		if strings.Count(out, c[0]) != 1 {
			return "", fmt.Errorf("the rig file of %s: %q does not stand in it once", s, c[0])
		}
		out = strings.Replace(out, c[0], c[1], 1)
	}
	return out, nil
}

// Rigs are the rigs of a season with what judges them. They are made when first wanted and shared by all nights, what was proven of them
// included. Safe for concurrent use.
type Rigs struct {
	Story bool // scores keep the story of their night, line by line

	mu      sync.Mutex
	defs    []limits.Definition
	set     *rules.Set
	members map[Species]decide.Member
}

// NewRigs reads the limits.
func NewRigs() (*Rigs, error) {
	defs, err := limits.Read(policies.Files())
	return &Rigs{defs: defs, members: map[Species]decide.Member{}}, err
}

// member returns a rig.
func (r *Rigs) member(s Species) (decide.Member, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if m, ok := r.members[s]; ok {
		return m, nil
	}
	text, err := s.text()
	if err != nil {
		return decide.Member{}, err
	}
	made, bad := rig.Parse("rig file", []byte(text), nil)
	if made == nil {
		return decide.Member{}, fmt.Errorf("the rig file of %s: %v", s, bad)
	}
	own := limits.Layer{Name: "rig " + made.ID}
	for _, l := range made.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value, Line: l.Line})
	}
	m := decide.Member{Rig: made, Shelf: reach.NewShelf(), Revs: map[string]string{"rig": fmt.Sprintf("%x", made.Digest)}}
	if m.Limits, err = limits.Merge(r.defs, own); err != nil {
		return decide.Member{}, err
	}
	if m.Rules, err = r.bound(m.Limits); err != nil {
		return decide.Member{}, err
	}
	r.members[s] = m
	return m, nil
}

// bound is the set of rules with a rig's limits: read once, and bound to each.
func (r *Rigs) bound(l limits.Set) (*rules.Set, error) {
	if r.set != nil {
		return r.set.With(l)
	}
	set, err := rules.Load(policies.Files(), l)
	r.set = set
	return set, err
}
