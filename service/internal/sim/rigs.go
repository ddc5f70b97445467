package sim

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
)

// species is a kind of rig that nights are played with: a rig file, changed.
type species struct {
	file    string // below testdata/rigs; empty: heron
	changes [][2]string
}

// Rests for heron, which has none.
const herons = "home_deg: [0, 0]\nrests:\n  - name: park\n    axes_deg: [0, 0]\n  - name: flats\n    axes_deg: [-20, 40]"

var (
	atWork = [2]string{"practice: yes\n", ""}
	rests  = [2]string{"home_deg: [0, 0]", herons}
	counts = "  - kind: motor count\n    clutch_side: motor\n    sigma_deg: [0.02, 0.02]"
	south  = [][2]string{
		{"latitude_deg: 46.20", "latitude_deg: -46.20"}, {"longitude_deg: 11.10", "longitude_deg: 168.3"},
		{"crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125"}, {"leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [180, 300, 60]"},
	}
)

// allSpecies are all three kinds of mount, and both halves of the Earth. Curlew of testdata is none of them: its file says that it flips by
// itself while it tracks, which holds most of an ordinary night.
func allSpecies() map[string]species {
	return map[string]species{
		"heron": {changes: [][2]string{atWork, rests}},
		"plover": {changes: [][2]string{atWork, rests, {"rig: heron", "rig: plover"}, {"end: heron", "end: plover"}, // as a simpler mount is
			{counts, strings.ReplaceAll(strings.ReplaceAll(counts, "motor count", "unsynced belief"), "0.02", "0.05")},
			{"by: sensor", "by: person"}, {"tells_sidereal_time: yes", "tells_sidereal_time: no"}, {"tells_restarts: yes", "tells_restarts: no"},
			{"counts_syncs: yes", "counts_syncs: no"}}},
		"petrel":  {changes: append([][2]string{atWork, rests, {"rig: heron", "rig: petrel"}, {"end: heron", "end: petrel"}}, south...)},
		"bittern": {file: "bittern.yaml", changes: [][2]string{{"home_deg: [0, 0]", "home_deg: [0, 15]"}, {"axis2_deg: [-5, 88]", "axis2_deg: [-20, 73]"}}},
		"wren":    {file: "wren.yaml"},
	}
}

// group is what one service serves in a night, and when that night begins there.
type group struct {
	rigs  []string
	start time.Time
	hours int
}

// groups of rigs that one service may serve.
func groups() []group {
	north := time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)
	far := time.Date(2026, 11, 14, 10, 45, 0, 0, time.UTC)
	return []group{
		{[]string{"heron"}, north, 6}, {[]string{"plover"}, north, 6}, {[]string{"bittern"}, north, 6}, {[]string{"wren"}, far, 6},
		{[]string{"petrel"}, far, 5}, {[]string{"heron", "bittern"}, north, 5}, {[]string{"heron", "plover"}, north, 5}, {[]string{"petrel", "wren"}, far, 5},
	}
}

// Members are rigs with what judges them, by name. They never change, so one reading serves every night.
type Members map[string]decide.Member

// Load reads the rigs that nights are played with; rigs is the folder of their files.
func Load(rigs string) (Members, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return nil, err
	}
	out := Members{}
	var set *rules.Set
	for name, s := range allSpecies() {
		m, err := s.member(rigs, defs)
		if err != nil {
			return nil, fmt.Errorf("rig %s: %w", name, err)
		}
		if set == nil {
			set, err = rules.Load(policies.Files(), m.Limits)
		} else {
			set, err = set.With(m.Limits)
		}
		if err != nil {
			return nil, err
		}
		m.Rules = set
		out[name] = m
	}
	return out, nil
}

func (s species) member(rigs string, defs []limits.Definition) (decide.Member, error) {
	text := practice.HeronFile()
	if s.file != "" {
		b, err := os.ReadFile(filepath.Join(rigs, s.file))
		if err != nil {
			return decide.Member{}, err
		}
		text = b
	}
	t := string(text)
	for _, c := range s.changes {
		if strings.Count(t, c[0]) != 1 {
			return decide.Member{}, fmt.Errorf("%q does not stand in it once", c[0])
		}
		t = strings.Replace(t, c[0], c[1], 1)
	}
	r, bad := rig.Parse("rig file", []byte(t), func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(rigs, filepath.Base(name))) })
	if r == nil {
		return decide.Member{}, fmt.Errorf("%v", bad)
	}
	own := limits.Layer{Name: "rig " + r.ID}
	for _, l := range r.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value, Line: l.Line})
	}
	lim, err := limits.Merge(defs, own)
	return decide.Member{Rig: r, Limits: lim, Shelf: reach.NewShelf(), Revs: map[string]string{"rig": fmt.Sprintf("%x", r.Digest)}}, err
}
