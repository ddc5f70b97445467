package rules

import (
	"fmt"
	"io/fs"
	"sort"
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/cover"
	"github.com/open-policy-agent/opa/v1/format"
	"github.com/open-policy-agent/opa/v1/loader"
	"github.com/open-policy-agent/opa/v1/storage"
	"github.com/open-policy-agent/opa/v1/tester"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// policyDir is the folder of the policies as the stock tool would be given it: opa test -s policies/schema policies.
const policyDir = "../../../policies"

// TestPolicyTestsPass runs the tests that stand beside the rules, as the stock tool does, and wants every line covered.
func TestPolicyTestsPass(t *testing.T) {
	ctx := t.Context()
	loaded, err := loader.NewFileLoader().WithProcessAnnotation(true).All([]string{policyDir})
	require.NoError(t, err)
	schemas, err := loader.Schemas(policyDir + "/schema")
	require.NoError(t, err)
	store, err := loaded.Store()
	require.NoError(t, err)
	modules := loaded.ParsedModules()

	coverage := cover.New()
	txn := storage.NewTransactionOrDie(ctx, store)
	defer store.Abort(ctx, txn)
	results, err := tester.NewRunner().
		SetCompiler(ast.NewCompiler().WithSchemas(schemas).WithUseTypeCheckAnnotations(true)).
		SetStore(store).SetModules(modules).SetCoverageQueryTracer(coverage).
		RunTests(ctx, txn)
	require.NoError(t, err)

	count := 0
	for r := range results {
		count++
		assert.Truef(t, r.Pass(), "%s.%s failed at %v: %s", r.Package, r.Name, r.Location, r.SubResults)
	}
	require.Greater(t, count, 30*3, "tests beside the rules")

	report := coverage.Report(modules)
	for _, file := range sortedFiles(report.Files) {
		f := report.Files[file]
		assert.Emptyf(t, f.NotCovered, "%s: lines never reached by its tests", file)
	}
}

func sortedFiles(files map[string]*cover.FileReport) []string {
	var names []string
	for n := range files {
		if !strings.HasSuffix(n, "_test.rego") {
			names = append(names, n)
		}
	}
	sort.Strings(names)
	return names
}

// TestPoliciesAreFormatted wants every file as the stock tool would format it.
func TestPoliciesAreFormatted(t *testing.T) {
	for name, file := range copied(t) {
		if !strings.HasSuffix(name, ".rego") {
			continue
		}
		want, err := format.Source(name, file.Data)
		require.NoError(t, err)
		assert.Equalf(t, string(want), string(file.Data), "%s is not formatted: run opa fmt -w policies", name)
	}
}

// TestEveryRuleHasItsTest wants a test file beside each rule, with a case for every code that the rule can give.
func TestEveryRuleHasItsTest(t *testing.T) {
	files, err := fs.Glob(dirFS(), "rules/*/*/*.rego")
	require.NoError(t, err)
	for _, file := range files {
		if strings.HasSuffix(file, "_test.rego") {
			continue
		}
		beside := strings.TrimSuffix(file, ".rego") + "_test.rego"
		text, err := fs.ReadFile(dirFS(), beside)
		require.NoErrorf(t, err, "%s has no test beside it", file)
		for _, effect := range []string{"pass", "hold"} {
			assert.Containsf(t, string(text), fmt.Sprintf("%q: %q", "effect", effect), "%s tests no %s", beside, effect)
		}
	}
}
