package internal_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The page of the faults names for each the tests that stand for it, as `file TestOne, TestTwo (remarks)`, files below service/internal
// unless they begin with service or clients, and nights by the names of their files. These tests hold it to the tree, so that it cannot rot.

const (
	faultsHeading = "## Faults, and where each is tested"
	root          = "../.."
)

var (
	testFile = regexp.MustCompile(`^[A-Za-z0-9_/]+_test\.go$`)
	testName = regexp.MustCompile(`^(Test|Fuzz)[A-Z][A-Za-z0-9]*$`)
	remarks  = regexp.MustCompile(`\([^()]*\)`)
)

// faultRow is one line of the page.
type faultRow struct{ no, fault, tests, reason string }

// faultRows reads the table below the heading.
func faultRows(page string) []faultRow {
	_, below, _ := strings.Cut(page, faultsHeading)
	below, _, _ = strings.Cut(below, "\n## ")
	var out []faultRow
	for line := range strings.Lines(below) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if len(cells) >= 4 && cells[0] != "no." && !strings.HasPrefix(cells[0], "---") {
			out = append(out, faultRow{cells[0], cells[1], cells[2], cells[3]})
		}
	}
	return out
}

// named returns what a cell of tests names: the tests of each file, none of them for a file named alone, and the nights.
func named(cell string) (tests map[string][]string, nights []string) {
	tests = map[string][]string{}
	file, inNights := "", false // a file counts until the next is named
	for group := range strings.SplitSeq(remarks.ReplaceAllString(cell, ""), ";") {
		for _, w := range strings.FieldsFunc(group, func(r rune) bool { return r == ' ' || r == ',' }) {
			switch {
			case testFile.MatchString(w):
				file, inNights = w, false
				tests[file] = slices.Clip(tests[file]) // there, were it to name no test
			case testName.MatchString(strings.TrimSuffix(w, ".")):
				tests[file] = append(tests[file], strings.TrimSuffix(w, "."))
			case w == "nights":
				inNights = true
			case inNights:
				nights = append(nights, w)
			}
		}
	}
	return tests, nights
}

// place is where a file of the page stands in the tree.
func place(file string) string {
	if strings.HasPrefix(file, "service/") || strings.HasPrefix(file, "clients/") {
		return filepath.Join(root, file)
	}
	return filepath.Join(root, "service/internal", file)
}

// testsIn returns the tests that a file declares.
func testsIn(path string) ([]string, error) {
	f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, d := range f.Decls {
		if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil {
			out = append(out, fn.Name.Name)
		}
	}
	return out, nil
}

// missing says what of a row is not in the tree.
func (r faultRow) missing() (out []string) {
	tests, nights := named(r.tests)
	if len(tests)+len(nights) == 0 {
		out = append(out, "it names no test")
	}
	for file, names := range tests {
		if file == "" {
			out = append(out, strings.Join(names, ", ")+" without a file before it")
			continue
		}
		there, err := testsIn(place(file))
		if err != nil {
			out = append(out, err.Error())
		}
		for _, n := range names {
			if err == nil && !slices.Contains(there, n) {
				out = append(out, n+" is not in "+file)
			}
		}
	}
	for _, n := range nights {
		if _, err := os.Stat(filepath.Join(root, "testdata/nights", n+".txt")); err != nil {
			out = append(out, err.Error())
		}
	}
	return out
}

func TestThePageOfFaultsNamesWhatIsThere(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	require.NoError(t, err)
	rows := faultRows(string(page))
	require.Greater(t, len(rows), 35, "rows below %q", faultsHeading)
	seen := map[string]bool{}
	for _, r := range rows {
		assert.Empty(t, r.missing(), "row %s, %s", r.no, r.fault)
		assert.NotEmpty(t, r.reason, "row %s, %s: what does its test assert beside the answer?", r.no, r.fault)
		assert.False(t, seen[r.no], "row %s twice", r.no)
		seen[r.no] = true
	}
}

// The check sees what it is there for: a test, a file or a night that is gone, a row that names nothing.
func TestThePageOfFaultsIsReallyHeldToTheTree(t *testing.T) {
	for name, c := range map[string]struct{ tests, says string }{
		"in order":          {"page_test.go TestThePageOfFaultsNamesWhatIsThere (a remark, with TestNothing); nights ordinary-a", ""},
		"a test gone":       {"page_test.go TestThatWasRenamed", "TestThatWasRenamed is not in page_test.go"},
		"the second gone":   {"page_test.go TestThePageOfFaultsNamesWhatIsThere, TestGone", "TestGone is not in page_test.go"},
		"a file gone":       {"service/gone_test.go TestGone", "no such file"},
		"a file gone alone": {"service/gone_test.go", "no such file"},
		"no file":           {"TestGone", "without a file before it"},
		"in another group":  {"page_test.go TestThePageOfFaultsNamesWhatIsThere; TestGone", "TestGone is not in page_test.go"},
		"a night gone":      {"nights quite-another", "no such file"},
		"nothing":           {"by hand", "names no test"},
	} {
		page := "x\n" + faultsHeading + "\n\n| no. | fault | tests | reason asserted |\n| --- | --- | --- | --- |\n| 1 | a | " + c.tests + " | r |\n\n## After\n| 2 | b | c | d |\n"
		rows := faultRows(page)
		require.Len(t, rows, 1, name)
		if c.says == "" {
			assert.Empty(t, rows[0].missing(), name)
			continue
		}
		assert.Contains(t, strings.Join(rows[0].missing(), "; "), c.says, name)
	}
}

// TestReadmeIsShort: whoever meets the project reads all of it or nothing.
func TestReadmeIsShort(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	assert.LessOrEqual(t, strings.Count(string(page), "\n"), 150)
	for line := range strings.Lines(string(page)) {
		if !strings.HasPrefix(line, "|") { // a table has no other way
			assert.LessOrEqual(t, len([]rune(line)), 156, "%s", line)
		}
	}
}
