package limits

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"keepclear.example/keepclear/policies"
)

func defs(t testing.TB) []Definition {
	t.Helper()
	d, err := Read(policies.Files())
	require.NoError(t, err)
	return d
}

// travel is the invented rig's own part, without which nothing merges.
func travel() Layer {
	l := Layer{Name: "rig invented", File: "invented.yaml"}
	for _, rule := range []string{"travel/axis1", "travel/axis2"} {
		l.Entries = append(l.Entries, Entry{rule, "low_deg", -95, 3}, Entry{rule, "high_deg", 95.5, 4})
	}
	return l
}

func layer(name, rule, limit string, v any) Layer {
	return Layer{Name: name, File: name + ".yaml", Entries: []Entry{{rule, limit, v, 7}}}
}

// TestDefaultsOfTheDesign holds every default, bound and safe direction against the table of section 19.
func TestDefaultsOfTheDesign(t *testing.T) {
	none := math.NaN()
	want := map[string][3]float64{ // default, bound, +1 where larger is safer
		"pose/fresh age_s": {10, 30, -1}, "pose/fresh moving_age_s": {2, 5, -1}, "pose/sharp sigma_deg": {1.2, 2, -1},
		"belief/agrees sky_deg": {3, 5, -1}, "end/bounded spread_deg": {5, 15, -1},
		"clear/path part_mm": {10, 0, 1}, "clear/path general_mm": {10, 1, 1},
		"clear/opens closing_mm_per_deg": {0.02, 0.1, -1}, // the design gives no number: section 7
		"travel/axis1 low_deg":           {none, none, 1}, "travel/axis1 high_deg": {none, none, -1}, "travel/axis2 low_deg": {none, none, 1}, "travel/axis2 high_deg": {none, none, -1},
		"sky/floor altitude_deg": {-3, -30, 1}, "sky/horizon above_deg": {0, -5, 1}, "sun/apart separation_deg": {30, 10, 1},
		"track/fits spare_s": {60, 0, 1}, "asker/fallback unstopped_spare_s": {600, 60, 1},
		"solve/fresh age_s": {120, 600, -1}, "solve/still motion_arcsec": {30, 120, -1},
		"solve/optics scale_ratio": {.02, .1, -1}, "solve/optics rotation_deg": {3, 15, -1},
		"solve/quality matched": {12, 6, 1}, "solve/quality residual_ratio": {1, 3, -1}, "solve/quality altitude_deg": {15, 5, 1}, "solve/blind hint_deg": {10, 3, 1},
		"sync/expected first_arcmin": {180, 300, -1}, "sync/expected d2": {13.8, 23, -1}, "sync/expected deny_arcmin": {600, 1200, -1},
		"sync/second agree_arcmin": {10, 30, -1}, "sync/jump axis_deg": {3, 10, -1}, "sync/jump axis_expected_deg": {5, 10, -1}, "sync/sum axis_deg": {5, 10, -1}, "sync/rate per_10min": {6, 20, -1}, "sync/given off_arcmin": {15, 60, -1}, "sync/walk walk_sigma": {4, 8, -1}, "solve/quality matched_expected": {4, 4, 1}, "sync/walk drift_sigma": {4, 5, -1}, "sync/walk run_sigma": {8, 15, -1}, "sync/walk taken_arcmin": {20, 60, -1},
		"time/agree skew_s": {5, 30, -1}, "time/agree error_s": {20, 120, -1}, "mount/map axis_deg": {.5, 2, -1},
		"rig/proven residual_mm": {10, 30, -1}, "rig/proven age_days": {365, 730, -1},
		"permit start_within_s": {10, 60, -1}, "permit start_tolerance_deg": {.5, 2, -1}, "permit jog_deg_per_s": {.5, 2, -1},
	}
	or := func(p *float64) float64 {
		if p == nil {
			return none
		}
		return *p
	}
	got := map[string]bool{}
	for _, d := range defs(t) {
		w, ok := want[d.key()]
		if !assert.Truef(t, ok, "%s is not in the design", d.key()) {
			continue
		}
		got[d.key()] = true
		assert.Truef(t, or(d.Default) == w[0] || d.Default == nil && math.IsNaN(w[0]), "%s default = %v, want %v", d.key(), or(d.Default), w[0])
		assert.Truef(t, or(d.Bound) == w[1] || d.Bound == nil && math.IsNaN(w[1]), "%s bound = %v, want %v", d.key(), or(d.Bound), w[1])
		assert.Equalf(t, w[2] < 0, d.SmallerIsSafer, "%s safe direction", d.key())
	}
	assert.Len(t, got, len(want))
}

func TestMergeTightensAndRemembersWho(t *testing.T) {
	s, err := Merge(defs(t),
		layer("facility", "sky/floor", "altitude_deg", 5),
		layer("class small", "sky/floor", "altitude_deg", 7.5),
		travel(),
		layer("rig invented", "sky/floor", "altitude_deg", 7.5), // the same again changes nothing
	)
	require.NoError(t, err)
	l, ok := s.Limit("sky/floor", "altitude_deg")
	require.True(t, ok)
	assert.Equal(t, 7.5, l.Value)
	assert.Equal(t, "class small", l.Origin)
	low, _ := s.Limit("travel/axis1", "low_deg")
	assert.Equal(t, -95.0, low.Value)
	assert.Equal(t, "rig invented", low.Origin)
	d, _ := s.Limit("permit", "start_within_s")
	assert.Equal(t, "default", d.Origin)
	v, ok := s.Value("permit", "start_within_s")
	assert.True(t, ok)
	assert.Equal(t, 10.0, v)
	l, ok = s.Limit("sky/floor", "nothing")
	assert.False(t, ok)
	assert.Zero(t, l)
	v, ok = s.Value("sky/floor", "nothing")
	assert.Zero(t, v)
	assert.False(t, ok)
	assert.True(t, slices.IsSortedFunc(s.All(), func(a, b Limit) int { return strings.Compare(a.key(), b.key()) }))
	assert.Contains(t, string(s.JSON()), `"sky":{"floor":{"altitude_deg":7.5},"horizon":{"above_deg":0}}`)
}

// TestEveryFaultIsNamed merges each wrong entry alone and then all of them at once.
func TestEveryFaultIsNamed(t *testing.T) {
	cases := []struct {
		what  string
		entry Entry
		want  string
	}{
		{"looser than the default", Entry{"sky/floor", "altitude_deg", -10, 3}, "facility.yaml:3: sky/floor altitude_deg: wanted at least -3 (set by default), got -10; a file can only tighten"},
		{"looser than the bound", Entry{"sky/floor", "altitude_deg", -31, 3}, "wanted at least -30 (the bound), got -31"},
		{"looser downwards", Entry{"pose/sharp", "sigma_deg", 1.3, 4}, "facility.yaml:4: pose/sharp sigma_deg: wanted at most 1.2 (set by default), got 1.3"},
		{"unknown limit", Entry{"sky/floor", "height_deg", 5, 5}, "sky/floor height_deg: wanted a limit that a rule reads, got a name that nobody knows; sky/floor has altitude_deg"},
		{"unknown rule", Entry{"sky/flor", "altitude_deg", 5, 6}, "sky/flor altitude_deg: wanted a limit that a rule reads"},
		{"another rule's limit", Entry{"pose/fresh", "altitude_deg", 5, 6}, "pose/fresh has age_s, moving_age_s"},
		{"text", Entry{"sun/apart", "separation_deg", "40", 8}, `sun/apart separation_deg: wanted a finite number, got "40"`},
		{"nothing", Entry{"sun/apart", "separation_deg", nil, 8}, "wanted a finite number, got <nil>"},
		{"truth", Entry{"sun/apart", "separation_deg", true, 8}, "wanted a finite number, got true"},
		{"no number", Entry{"sun/apart", "separation_deg", math.NaN(), 8}, "wanted a finite number, got NaN"},
		{"infinite", Entry{"sun/apart", "separation_deg", math.Inf(1), 8}, "wanted a finite number, got +Inf"},
		{"far out", Entry{"travel/axis1", "low_deg", -5000, 9}, "wanted a number between -3600 and 3600, got -5000"},
	}
	all := Layer{Name: "facility", File: "facility.yaml"}
	for _, c := range cases {
		s, err := Merge(defs(t), Layer{Name: "facility", File: "facility.yaml", Entries: []Entry{c.entry}}, travel())
		require.ErrorIsf(t, err, ErrFaulty, c.what)
		require.ErrorContainsf(t, err, c.want, c.what)
		require.Empty(t, s.All(), c.what)
		all.Entries = append(all.Entries, c.entry)
	}
	_, err := Merge(defs(t), all, travel())
	var faults Faults
	require.True(t, errors.As(err, &faults))
	assert.Len(t, faults, len(cases), "all at once")
	assert.True(t, slices.IsSortedFunc(faults, func(a, b Fault) int { return a.Line - b.Line }))
}

func TestTravelComesFromTheRig(t *testing.T) {
	_, err := Merge(defs(t))
	require.ErrorContains(t, err, "travel/axis1 high_deg: wanted a number: this limit has no default, got none; state it in the rig file")
	_, err = Merge(defs(t), layer("rig r", "travel/axis2", "high_deg", 90))
	require.ErrorContains(t, err, "rig r.yaml: travel/axis1 high_deg")
	l := travel()
	l.Entries[0].Value = 95.5
	_, err = Merge(defs(t), l)
	require.ErrorContains(t, err, "travel/axis1 low_deg: wanted less than high_deg, 95.5, got 95.5")
	_, err = Merge(defs(t), travel(), layer("later", "travel/axis1", "low_deg", -96))
	require.ErrorContains(t, err, "wanted at least -95 (set by rig invented), got -96")
}

// TestMergeNeverLoosens: whatever layers say, a set that comes out is no looser than the defaults, and no looser than any
// layer in it asked for.
func TestMergeNeverLoosens(t *testing.T) {
	all := defs(t)
	rapid.Check(t, func(t *rapid.T) {
		layers := []Layer{travel()}
		for i := range rapid.IntRange(0, 4).Draw(t, "layers") {
			d := rapid.SampledFrom(all).Draw(t, "limit")
			v := rapid.Float64Range(-40, 700).Draw(t, "value")
			layers = append(layers, layer(string(rune('a'+i)), d.Rule, d.Name, v))
		}
		s, err := Merge(all, layers...)
		if err != nil {
			require.ErrorIs(t, err, ErrFaulty)
			return
		}
		for _, l := range s.All() {
			require.False(t, math.IsNaN(l.Value) || math.IsInf(l.Value, 0))
			require.True(t, l.Default == nil || !l.looser(l.Value, *l.Default), "%s", l.key())
			require.True(t, l.within(l.Value), "%s", l.key())
		}
		for _, layer := range layers {
			for _, e := range layer.Entries {
				l, _ := s.Limit(e.Rule, e.Name)
				v, _ := finite(e.Value)
				require.False(t, l.looser(l.Value, v), "%s is looser than %s asked for", l.key(), layer.Name)
			}
		}
	})
}

func TestDigestNamesTheValues(t *testing.T) {
	a, err := Merge(defs(t), travel())
	require.NoError(t, err)
	b, err := Merge(defs(t), layer("facility", "sun/apart", "separation_deg", 30), travel())
	require.NoError(t, err)
	c, err := Merge(defs(t), layer("facility", "sun/apart", "separation_deg", 31), travel())
	require.NoError(t, err)
	assert.Equal(t, a.Digest(), b.Digest(), "the same values by another way")
	assert.NotEqual(t, a.Digest(), c.Digest())
	assert.NotEqual(t, Set{}.Digest(), a.Digest())
}

const goodLayer = "# invented\nsky/floor:\n  altitude_deg: 5\npermit:\n  start_within_s: 8.5\n...\n"

func TestParseLayer(t *testing.T) {
	l, err := ParseLayer("facility", "site.yaml", []byte(goodLayer))
	require.NoError(t, err)
	assert.Equal(t, Layer{Name: "facility", File: "site.yaml", Entries: []Entry{{"sky/floor", "altitude_deg", 5.0, 3}, {"permit", "start_within_s", 8.5, 5}}}, l)
	s, err := Merge(defs(t), l, travel())
	require.NoError(t, err)
	v, _ := s.Value("permit", "start_within_s")
	assert.Equal(t, 8.5, v)
}

func TestParseLayerFaults(t *testing.T) {
	for text, want := range map[string]string{
		"":                                     "site.yaml: file: wanted the end mark ... as the last line",
		"sky/floor:\n  altitude_deg: 5\n":      "the file may have been cut short",
		"- a\n...\n":                           "wanted rule ids at the left margin",
		"# nothing\n...\n":                     "wanted",
		"sky/floor: 5\n...\n":                  "site.yaml:1: sky/floor: wanted limit names with their numbers below it, got 5",
		"sky/floor: {a: 1, a: 2}\n...\n":       "site.yaml:1: sky/floor a: wanted each key once",
		"a: {b: 1}\na: {c: 1}\n...\n":          "site.yaml:2: a: wanted each key once",
		"sky/floor:\n\taltitude_deg: 5\n...\n": "site.yaml:2: file: wanted YAML, got found character that cannot start any token; mend that line",
		"sun/apart:\n  separation_deg: 40\n...\nsky/floor:\n  altitude_deg: 40\n...\n":              "site.yaml:4: file: wanted all limits in one document, and ... as the last line alone, got a second document; delete the line ... or ---",
		"sun/apart: {separation_deg: 40}\n...  \r\n\n # mine\nsky/floor: {altitude_deg: 40}\n...\n": "site.yaml:5: file: wanted all limits in one document",
		"sun/apart: {separation_deg: 40}\n...\n---\n\tsky/floor: {altitude_deg: 40}\n...\n":         "site.yaml:3: file: wanted all limits in one document",
		"sun/apart:\n  separation_deg: 40\n...\n---\nsky/floor:\n  altitude_deg: 40\n...\n":         "site.yaml:4: file: wanted all limits in one document, and ... as the last line alone, got a second document",
		"sun/apart: {separation_deg: 40}\n---\nsky/floor: {altitude_deg: 40}\n...\n":                "site.yaml:2: file: wanted all limits in one document",
		"sun/apart: {separation_deg: 40}\n...\nsky/floor: {altitude_deg: 40}\n...\n":                "wanted",
		"sun/apart: {separation_deg: 40}\n---\nsky/floor: {altitude_deg: 40\n...\n":                 "wanted YAML",
		"sun/apart: {separation_deg: 40}\n---\nsky/floor: *none\n...\n":                             "wanted YAML",
		"sun/apart: {separation_deg: 40}\n---\n\tsky/floor: {altitude_deg: 40}\n...\n":              "wanted YAML",
	} {
		_, err := ParseLayer("facility", "site.yaml", []byte(text))
		require.ErrorIs(t, err, ErrFaulty, text)
		require.ErrorContains(t, err, want, text)
	}
	for _, text := range []string{"sun/apart: {separation_deg: 40}\n...\n...\n", "sun/apart: {separation_deg: 40}\n...\n\n# mine\n...\n"} { // nothing is left out
		l, err := ParseLayer("facility", "site.yaml", []byte(text))
		require.NoError(t, err, text)
		require.Len(t, l.Entries, 1)
	}
	line, says := placed(errors.New("yaml: odd: line 3: so"))
	assert.Zero(t, line)
	assert.Equal(t, "odd: line 3: so", says)
	line, says = placed(errors.New("yaml: line 3"))
	assert.Zero(t, line)
	assert.Equal(t, "line 3", says)
	for text, want := range map[string]string{
		"sky/floor:\n  altitude_deg: \"5\"\n...\n":                `got "5"`,
		"sky/floor:\n  altitude_deg: .nan\n...\n":                 "got NaN",
		"sky/floor:\n  altitude_deg: [5]\n...\n":                  `got "a list"`,
		"sky/floor:\n  altitude_deg:\n...\n":                      "got <nil>",
		"sky/floor:\n  altitude_deg: {a: 5}\n...\n":               `got "a group of keys"`,
		"x: &a {b: 1}\nsky/floor:\n  altitude_deg: *a\n...\n":     `got "an alias"`,
		"sky/floor:\n  altitude_deg: !!int five\n...\n":           `got "five"`,
		"sky/floor:\n  altitude_deg: 99999999999999999999\n...\n": "wanted",
		"sky/floor:\n  altitude_deg: 0x20\n...\n":                 `got "0x20"`,
		"sky/floor:\n  altitude_deg: 1_0\n...\n":                  `got "1_0"`,
		"sky/floor:\n  altitude_deg: 0o17\n...\n":                 `got "0o17"`,
	} {
		l, err := ParseLayer("facility", "site.yaml", []byte(text))
		require.NoError(t, err, text)
		_, err = Merge(defs(t), l, travel())
		if strings.Contains(text, "9999") {
			require.NoError(t, err, "tighter than any target, but finite")
			continue
		}
		require.ErrorContains(t, err, want, text)
	}
}

// A number is what people take it for, with zeros before it, too, which YAML takes for one of another base.
func TestZerosBeforeANumberAreNothing(t *testing.T) {
	for written, want := range map[string]float64{"045": 45, "+45": 45, "45.": 45, "4.5e1": 45, "!!float 45": 45, "00.5": 0.5} {
		l, err := ParseLayer("facility", "site.yaml", []byte("sky/floor:\n  altitude_deg: "+written+"\n...\n"))
		require.NoError(t, err, written)
		s, err := Merge(defs(t), l, travel())
		require.NoError(t, err, written)
		got, _ := s.Value("sky/floor", "altitude_deg")
		assert.Equal(t, want, got, written)
	}
}

func TestDefinitionFaults(t *testing.T) {
	good := "sky/floor:\n  altitude_deg:\n    title: T\n    default: -3\n    bound: -30\n    safe: larger\n    may_loosen: nobody\n    reason: R\n...\n"
	_, err := Read(fstest.MapFS{"limits/sky.yaml": {Data: []byte(good)}})
	require.NoError(t, err)
	for old, new := range map[string]string{
		"default: -3":        "default: -31",
		"default: -3\n":      "default: three\n",
		"bound: -30":         "bound: .inf",
		"    bound: -30\n":   "",
		"safe: larger":       "safe: up",
		"title: T":           "title: 5",
		"    title: T\n":     "",
		"reason: R":          "reason: \"\"",
		"may_loosen: nobody": "may_losen: nobody",
		"...":                "",
		"sky/floor:\n":       "sky/horizon: {}\nsky/floor:\n",
	} {
		_, err := Read(fstest.MapFS{"limits/sky.yaml": {Data: []byte(strings.Replace(good, old, new, 1))}})
		require.ErrorIsf(t, err, ErrFaulty, "%q for %q", new, old)
		require.ErrorContainsf(t, err, "limits/sky.yaml", "%q for %q", new, old)
	}
	_, err = Read(fstest.MapFS{"limits/a.yaml": {Data: []byte(good)}, "limits/b.yaml": {Data: []byte(good)}})
	require.ErrorContains(t, err, "sky/floor altitude_deg: wanted one definition, got two")
	_, err = Read(fstest.MapFS{})
	require.ErrorContains(t, err, "limits: folder: wanted files that define limits")
}

// FuzzLayer reads anything without a panic, and never lets a looser or non-finite limit through.
func FuzzLayer(f *testing.F) {
	f.Add([]byte(goodLayer))
	f.Add([]byte("sky/floor: {altitude_deg: .nan}\n...\n"))
	f.Add([]byte("a: &a [*a]\n...\n"))
	f.Add([]byte("sky/floor:\n  altitude_deg: -1e999\n...\n"))
	f.Add([]byte("? {a: b}\n: c\n...\n"))
	all := defs(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ParseLayer("fuzz", "fuzz.yaml", data)
		if err != nil {
			return
		}
		s, err := Merge(all, travel(), l)
		if err != nil {
			return
		}
		for _, x := range s.All() {
			if math.IsNaN(x.Value) || math.IsInf(x.Value, 0) || x.Default != nil && x.looser(x.Value, *x.Default) {
				t.Errorf("%s = %v came through", x.key(), x.Value)
			}
		}
	})
}

// TestTreeIsWhatMapsWouldBe, to the byte: what names a set may not go by who writes it.
func TestTreeIsWhatMapsWouldBe(t *testing.T) {
	all := []Limit{}
	for i, key := range [][2]string{
		{"belief/agrees", "sky_deg"}, {"permit", "jog_deg_per_s"}, {"permit", "start_within_s"}, {"sky/floor", "altitude_deg"},
		{"sky/floor", "spare"}, {"sky/horizon", "above_deg"}, {"sun/apart/deep", "x"}, {"sun/apart/deeper", "x"}, {"sun/apart/deeper", "y"},
	} {
		all = append(all, Limit{Definition: Definition{Rule: key[0], Name: key[1]}, Value: []float64{-3, 0, 1e-9, 0.1, 3600}[i%5]})
	}
	for n := range len(all) + 1 {
		want := map[string]any{}
		for _, l := range all[:n] {
			plant(want, l)
		}
		text, err := json.Marshal(want)
		require.NoError(t, err)
		got, err := tree(all[:n])
		require.NoError(t, err)
		assert.Equal(t, string(text), string(got))
	}
	mixed := []Limit{{Definition: Definition{Rule: "permit", Name: "z"}}, {Definition: Definition{Rule: "permit/one", Name: "a"}}}
	for range 2 {
		text, err := tree(mixed)
		require.NoError(t, err)
		assert.JSONEq(t, `{"permit": {"z": 0, "one": {"a": 0}}}`, string(text))
		slices.Reverse(mixed)
	}
	_, err := tree([]Limit{{Value: math.NaN()}})
	require.Error(t, err)
}

// plant puts a limit into the tree that Rego sees: one level for each part of the rule's id.
func plant(tree map[string]any, l Limit) {
	for _, part := range strings.Split(l.Rule, "/") {
		next, ok := tree[part].(map[string]any)
		if !ok {
			next = map[string]any{}
			tree[part] = next
		}
		tree = next
	}
	tree[l.Name] = l.Value
}
