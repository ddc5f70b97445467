package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A room with a thin test: what it notices and what not is written down below, mutant by mutant.
const (
	littleRoom = `package little

import (
	"errors"
	"math"
)

const margin = 10.0

var errNone = errors.New("no gap")

// Clear tells whether a gap is wide enough.
func Clear(gap float64) bool { return !math.IsNaN(gap) && gap >= margin }

// Spare is what is left.
func Spare(gap float64) (float64, error) {
	if gap <= 0 {
		return 0, errNone
	}
	spare := gap - margin
	spare += 1
	return max(spare, -gap), nil
}

// Never is asked by nobody.
func Never() int { return 3 }
`
	littleTest = `package little

import "testing"

func TestClear(t *testing.T) {
	if !Clear(12) || Clear(8) {
		t.Fatal("Clear")
	}
}

func TestSpare(t *testing.T) {
	if s, err := Spare(12); s != 3 || err != nil {
		t.Fatal("Spare(12)", s, err)
	}
	if _, err := Spare(-1); err == nil {
		t.Fatal("Spare(-1)")
	}
}
`
)

// little lays out a module with one room and returns options over it.
func little(t *testing.T, listed string) options {
	root := t.TempDir()
	for name, text := range map[string]string{
		"go.mod": "module little.example/little\n\ngo 1.26\n", "little/little.go": littleRoom, "little/little_test.go": littleTest, ".ci/survivors": listed,
	} {
		path := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return options{root: root, jobs: 2, quiet: true, ctx: t.Context(), rooms: []room{{name: "little", dir: "little", tests: []string{"little"}}}}
}

// want are the survivors of the little room: the edges and the NaN that its test leaves out, and what nobody asks.
var want = []string{
	"Clear | !math.IsNaN(gap) | taken as true",
	"Clear | gap >= margin | >= to >",
	"Never | 3 in func Never() int { return 3 } | 3 minus one",
	"Never | 3 in func Never() int { return 3 } | 3 plus one",
	"Spare | 0 in if gap <= 0 { | 0 minus one",
	"Spare | 0 in if gap <= 0 { | 0 one",
	"Spare | gap <= 0 | <= to <",
}

// TestSurvivorsOfALittleRoom is the canary: a thin test's holes are named one by one, and nothing else is.
func TestSurvivorsOfALittleRoom(t *testing.T) {
	var out strings.Builder
	o := little(t, "")
	bad, err := work(o, t.TempDir(), &out)
	require.NoError(t, err, out.String())
	var got []string
	for line := range strings.SplitSeq(out.String(), "\n") {
		if rest, ok := strings.CutPrefix(line, "SURVIVOR: little/little.go | "); ok {
			rest, _, _ = strings.Cut(rest, "   ")
			got = append(got, rest)
		}
	}
	assert.ElementsMatch(t, want, got, out.String())
	assert.Equal(t, len(got), bad)
}

// TestListedSurvivors: a listed one is fine, one that is killed or that is gone is not, and the rest must be listed.
func TestListedSurvivors(t *testing.T) {
	listed := "reason: a canary\n"
	for _, w := range want {
		listed += "  little/little.go | " + w + "\n"
	}
	var out strings.Builder
	bad, err := work(little(t, listed), t.TempDir(), &out)
	require.NoError(t, err, out.String())
	assert.Zero(t, bad, out.String())

	out.Reset()
	more := "  little/little.go | Spare | gap <= 0 | always\n  little/little.go | Gone | gap <= 0 | always\n"
	bad, err = work(little(t, listed+more), t.TempDir(), &out)
	require.NoError(t, err, out.String())
	assert.Equal(t, 2, bad, out.String())
	assert.Contains(t, out.String(), "VANISHED: .ci/survivors lists what is no longer there: little/little.go | Gone | gap <= 0 | always")
	assert.Contains(t, out.String(), "KILLED: .ci/survivors lists what TestSpare notices: little/little.go | Spare | gap <= 0 | always")
}

func TestSurvivorsAreReadStrictly(t *testing.T) {
	for text, says := range map[string]string{
		"  a | b | c | d\n":                                   "below its reason",
		"reason: x\na | b | c | d\n":                          "below its reason",
		"reason: x\n  a | b | c | d\n  a | b | c | d\n":       "listed twice",
		"reason:\n  a | b | c | d\n":                          "below its reason",
		"reason: x\n\n# remark\n  a | b | c | d\n unindented": "",
	} {
		path := filepath.Join(t.TempDir(), "survivors")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		s, err := readSurvivors(path)
		if says == "" {
			require.NoError(t, err)
			assert.Equal(t, "x", s["a | b | c | d"])
			continue
		}
		assert.ErrorContains(t, err, says, text)
	}
}

// A rule with a thin test beside it.
const (
	littleRule = `package rules.little.gap

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.gap_mm >= data.limits.gap_mm] if {
	is_number(input.gap_mm)
}

outcome := {true: wide, false: narrow}

wide := {"effect": "pass", "code": "wide"}

narrow := {"effect": "deny", "code": "narrow"}
`
	littleRuleTest = `package rules.little.gap_test

import data.rules.little.gap

test_wide if gap.finding.effect == "pass" with input as {"gap_mm": 12} with data.limits.gap_mm as 10

test_narrow if gap.finding.effect == "deny" with input as {"gap_mm": 8} with data.limits.gap_mm as 10
`
	littlePolicies = `package policies

import (
	"embed"
	"io/fs"
)

//go:embed rules
var files embed.FS

func Files() fs.FS { return files }
`
)

// alive are the mutants of the little rule that the test beside it does not notice: the edge, the check of type, the default, the codes.
var alive = []string{
	">= to > of finding", "left out of finding",
	"left out of finding", "hold to pass of finding", "hold to deny of finding",
	"code fact_missing to wide of finding", "code fact_missing to narrow of finding",
	"code wide to fact_missing of wide", "code wide to narrow of wide",
	"code narrow to fact_missing of narrow", "code narrow to wide of narrow",
}

// littleRules lays out a module with one rule, beside it what is not built in, and a Go test over what is.
func littleRules(t *testing.T, judged string) options {
	root := t.TempDir()
	for name, text := range map[string]string{
		"go.mod": "module little.example/little\n\ngo 1.26\n", ".ci/survivors": "",
		"policies/embed.go": littlePolicies, "policies/README.md": "not built in",
		"policies/rules/little/gap/gap.rego": littleRule, "policies/rules/little/gap/gap_test.rego": littleRuleTest,
		"judged/judged_test.go": judged,
	} {
		path := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return options{root: root, jobs: 2, quiet: true, ctx: t.Context(), rooms: []room{{name: "policies", dir: "policies", tests: []string{"judged"}, rego: true}}}
}

// TestRulesAreChanged: what the test beside a rule leaves open is found in this process.
func TestRulesAreChanged(t *testing.T) {
	o := littleRules(t, "package judged\n")
	found, tries, err := openRego(o.rooms[0], o, t.TempDir())
	require.NoError(t, err)
	var got []string
	for _, m := range found {
		by, viable, err := tries.(*regoTrier).beside(m)
		require.NoError(t, err)
		if viable && by == "" {
			got = append(got, m.change+" of "+m.fn)
		}
	}
	assert.ElementsMatch(t, alive, got)
}

// TestRulesLeftAliveAreAskedOfGo: the Go tests get a copy of what is built in and of nothing else, formatted, in which the one mutant that
// they notice, and no other, is killed.
func TestRulesLeftAliveAreAskedOfGo(t *testing.T) {
	var out strings.Builder
	bad, err := work(littleRules(t, `package judged

import (
	"io/fs"
	"strings"
	"testing"

	"little.example/little/policies"
)

func TestNothingElseIsBuiltIn(t *testing.T) {
	top, err := fs.ReadDir(policies.Files(), ".")
	if err != nil || len(top) != 1 || top[0].Name() != "rules" {
		t.Fatal(top, err)
	}
}

func TestTheEdge(t *testing.T) {
	text, err := fs.ReadFile(policies.Files(), "rules/little/gap/gap.rego")
	if err != nil || strings.Contains(string(text), " > ") || strings.Contains(string(text), "\n\n\n") {
		t.Fatal(string(text), err)
	}
}
`), t.TempDir(), &out)
	require.NoError(t, err, out.String())
	assert.Equal(t, len(alive)-1, bad, out.String())
	assert.Equal(t, bad, strings.Count(out.String(), "SURVIVOR: "), out.String())
	assert.NotContains(t, out.String(), ">= to > ", out.String())
}

// TestRedSuiteIsRefused: Go tests that fail over a copy in which nothing is changed would call every mutant killed.
func TestRedSuiteIsRefused(t *testing.T) {
	var out strings.Builder
	_, err := work(littleRules(t, `package judged

import (
	"embed"
	"testing"

	"little.example/little/policies"
)

func TestGreen(t *testing.T) {}

func TestBuiltIn(t *testing.T) {
	if _, is := policies.Files().(embed.FS); !is {
		t.Fatal("a copy")
	}
}
`), t.TempDir(), &out)
	require.ErrorIs(t, err, errRed)
	require.ErrorContains(t, err, "judged TestBuiltIn: ")
	assert.Empty(t, out.String(), "no mutant is judged")

	out.Reset()
	o := little(t, "")
	require.NoError(t, os.WriteFile(filepath.Join(o.root, "little/red_test.go"), []byte("package little\n\nimport \"testing\"\n\nfunc TestRed(t *testing.T) { t.Fatal() }\n"), 0o600))
	_, err = work(o, t.TempDir(), &out)
	require.ErrorIs(t, err, errRed)
	require.ErrorContains(t, err, "little TestRed: ")
	assert.Empty(t, out.String(), "no mutant is judged")
}

// TestFoldersBuiltIn: the one line go:embed says what is copied; without one there is nothing to copy by.
func TestFoldersBuiltIn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "embed.go")
	for text, want := range map[string][]string{
		littlePolicies: {"rules"},
		strings.Replace(littlePolicies, "embed rules", "embed rules limits schema", 1): {"rules", "limits", "schema"},
		strings.Replace(littlePolicies, "//go:embed rules\n", "", 1):                   nil,
		littlePolicies + "\n//go:embed limits\nvar more embed.FS\n":                    nil,
	} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		got, err := builtIn(path)
		assert.Equal(t, want, got, text)
		assert.Equal(t, want == nil, err != nil, text)
	}
}
