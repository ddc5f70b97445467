package limits

import (
	"io/fs"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// faultsOf are the faults inside an error.
func faultsOf(t *testing.T, err error) Faults {
	t.Helper()
	var faults Faults
	require.ErrorAs(t, err, &faults)
	return faults
}

func TestFaultsByPlace(t *testing.T) {
	faults := Faults{
		{File: "b.yaml", Line: 1, Key: "a"}, {File: "a.yaml", Line: 9, Key: "a"}, {File: "a.yaml", Line: 2, Key: "z"},
		{File: "a.yaml", Line: 2, Key: "b", Wanted: "first"}, {File: "a.yaml", Line: 2, Key: "b", Wanted: "second"}, {File: "a.yaml", Line: 3, Key: "a"},
	}
	var got []string
	for _, f := range sorted(faults) {
		got = append(got, f.File+" "+string(rune('0'+f.Line))+" "+f.Key+f.Wanted)
	}
	assert.Equal(t, []string{"a.yaml 2 bfirst", "a.yaml 2 bsecond", "a.yaml 2 z", "a.yaml 3 a", "a.yaml 9 a", "b.yaml 1 a"}, got)
	assert.Nil(t, sorted(Faults{}), "none is no error")
}

func TestFaultsAreSaidOneALine(t *testing.T) {
	faults := Faults{{File: "a.yaml", Line: 2, Key: "k", Wanted: "w", Got: "g", Remedy: "r"}, {File: "b.yaml", Key: "k", Wanted: "w", Got: "g", Remedy: "r"}}
	assert.EqualError(t, faults, "a.yaml:2: k: wanted w, got g; r\nb.yaml: k: wanted w, got g; r")
	assert.ErrorIs(t, faults, ErrFaulty)
	assert.NotErrorIs(t, faults, fs.ErrNotExist)
}

// TestZeroIsStated: travel that ends at zero has been stated, though zero is what an unstated limit holds.
func TestZeroIsStated(t *testing.T) {
	l := travel()
	l.Entries[0].Value = 0
	s, err := Merge(defs(t), l)
	require.NoError(t, err)
	low, _ := s.Limit("travel/axis1", "low_deg")
	assert.Equal(t, "rig invented", low.Origin)
}

// TestHalfOfTheTravelIsNotReversed: an end that is not stated is no end at zero.
func TestHalfOfTheTravelIsNotReversed(t *testing.T) {
	for missing, v := range map[string]float64{"low_deg": -5, "high_deg": 5} {
		l := travel()
		l.Entries = slices.DeleteFunc(l.Entries, func(e Entry) bool { return e.Rule == "travel/axis1" && e.Name == missing })
		l.Entries[0].Value = v
		_, err := Merge(defs(t), l)
		faults := faultsOf(t, err)
		require.Len(t, faults, 1, "%v", faults)
		assert.Equal(t, "travel/axis1 "+missing, faults[0].Key)
		assert.Equal(t, "none", faults[0].Got)
	}
}

// TestLowWithoutHigh: a limit of that name need not be one of two ends.
func TestLowWithoutHigh(t *testing.T) {
	v := 3.0
	s, err := Merge([]Definition{{Rule: "a/b", Name: "low_deg", Default: &v, Bound: &v}})
	require.NoError(t, err)
	assert.Len(t, s.All(), 1)
}

func TestWidestIsWithin(t *testing.T) {
	l := travel()
	l.Entries[0].Value, l.Entries[1].Value = -3600, 3600
	_, err := Merge(defs(t), l)
	require.NoError(t, err, "the message says: between -3600 and 3600")
	l.Entries[1].Value = math.Nextafter(3600, 4000)
	_, err = Merge(defs(t), l)
	require.ErrorIs(t, err, ErrFaulty)
}

func TestMinusInfinityIsNoLimit(t *testing.T) {
	_, err := Merge(defs(t), layer("facility", "pose/sharp", "sigma_deg", math.Inf(-1)), travel())
	require.ErrorContains(t, err, "pose/sharp sigma_deg: wanted a finite number, got -Inf")
}

func TestUnknownNameIsHelped(t *testing.T) {
	var defs []Definition
	v := 1.0
	for _, n := range []string{"f", "b", "d", "a", "e", "c"} {
		defs = append(defs, Definition{Rule: "a/b", Name: n, Default: &v, Bound: &v})
	}
	_, err := Merge(defs, layer("x", "a/b", "z", 1))
	assert.Equal(t, "a/b has a, b, c, d, e, f", faultsOf(t, err)[0].Remedy)
	_, err = Merge(defs, layer("x", "a/c", "z", 1))
	assert.Equal(t, "check the rule id; the rules and their limits are listed in policies/limits", faultsOf(t, err)[0].Remedy)
}

// definition is a good one; each case below changes it.
const definition = "b/c:\n  two_deg:\n    title: T\n    default: -3\n    bound: -30\n    safe: larger\n    may_loosen: nobody\n    reason: R\n"

func TestDefinitionsComeByName(t *testing.T) {
	one := strings.NewReplacer("b/c:\n", "", "two_deg:", "one_deg:").Replace(definition)
	first := strings.Replace(definition, "b/c:", "a/z:", 1)
	got, err := Read(fstest.MapFS{"limits/x.yaml": {Data: []byte(definition + one + "...\n")}, "limits/y.yaml": {Data: []byte(first + "...\n")}})
	require.NoError(t, err)
	var keys []string
	for _, d := range got {
		keys = append(keys, d.key())
	}
	assert.Equal(t, []string{"a/z two_deg", "b/c one_deg", "b/c two_deg"}, keys)
}

// TestEachPartOfADefinitionIsWanted, alone: nothing else is wrong with it, and one fault is named.
func TestEachPartOfADefinitionIsWanted(t *testing.T) {
	for old, new := range map[string]string{
		"    title: T\n":            "",
		"    reason: R\n":           "",
		"    may_loosen: nobody\n":  "",
		"    safe: larger\n":        "",
		"reason: R":                 "reason: \"  \"",
		"    default: -3\n":         "    default: -3\n    defaults: -3\n",
		"    may_loosen: nobody\n ": "    may_loosen: \" \"\n ",
	} {
		text := strings.Replace(definition, old, new, 1)
		require.NotEqual(t, definition, text)
		_, err := Read(fstest.MapFS{"limits/x.yaml": {Data: []byte(text + "...\n")}})
		assert.Len(t, faultsOf(t, err), 1, "%q for %q", new, old)
	}
}

// A default on the wrong side of its bound is told with both, and the direction by which they are compared.
func TestADefaultBeyondItsBoundIsToldWithBoth(t *testing.T) {
	for safe, want := range map[string]string{
		"larger":  "",
		"smaller": `limits/x.yaml:2: b/c two_deg: wanted a default no looser than the bound -30, where safe is "smaller", got -3; exchange the two, or mend safe`,
	} {
		_, err := Read(fstest.MapFS{"limits/x.yaml": {Data: []byte(strings.Replace(definition, "safe: larger", "safe: "+safe, 1) + "...\n")}})
		if want == "" {
			require.NoError(t, err)
			continue
		}
		require.ErrorContains(t, err, want)
		assert.Len(t, faultsOf(t, err), 1)
	}
	_, err := Read(fstest.MapFS{"limits/x.yaml": {Data: []byte(strings.Replace(definition, "    bound: -30\n", "", 1) + "...\n")}})
	require.ErrorContains(t, err, "wanted a bound beside the default, got")
}

func TestFileThatCannotBeReadIsAnError(t *testing.T) {
	_, err := Read(fstest.MapFS{"limits/x.yaml/inside": {Data: []byte("x")}, "limits/y.yaml": {Data: []byte(definition + "...\n")}})
	require.ErrorContains(t, err, "reading limits")
	assert.NotErrorIs(t, err, ErrFaulty)
}

func TestNothingIsCalledNothing(t *testing.T) {
	_, err := ParseLayer("facility", "site.yaml", []byte("sky/floor:\n...\n"))
	require.ErrorContains(t, err, "site.yaml:1: sky/floor: wanted limit names with their numbers below it, got nothing")
}
