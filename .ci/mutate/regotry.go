package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/format"
	"github.com/open-policy-agent/opa/v1/storage"
	"github.com/open-policy-agent/opa/v1/storage/inmem"
	"github.com/open-policy-agent/opa/v1/tester"
)

// envPolicies names the folder that a changed package policies reads its files from.
const envPolicies = "KEEPCLEAR_MUTANT_POLICIES"

// policiesFile stands in the place of policies/embed.go: the files as built in, or those of a folder.
const policiesFile = `package policies

import (
	"embed"
	"io/fs"
	"os"
)

//go:embed %s
var files embed.FS

func Files() fs.FS {
	if dir := os.Getenv("` + envPolicies + `"); dir != "" {
		return os.DirFS(dir)
	}
	return files
}
`

var embedLine = regexp.MustCompile(`(?m)^//go:embed (.+)$`)

// builtIn reads from a package policies which of its folders are built into the program: a copy holds these and nothing else, or
// the tests would judge what stands beside them.
func builtIn(embed string) ([]string, error) {
	text, err := os.ReadFile(embed)
	if err != nil {
		return nil, err
	}
	lines := embedLine.FindAllStringSubmatch(string(text), -1)
	if len(lines) != 1 {
		return nil, fmt.Errorf("%s: %d lines go:embed, want one that names the folders built in", embed, len(lines))
	}
	return strings.Fields(lines[0][1]), nil
}

// regoTrier tries a rule with the test beside it, in this process, and then with the Go tests over a changed copy of the folder.
type regoTrier struct {
	o       options
	scratch string
	folders []string          // those of policies that are built in
	texts   map[string]string // every rego file, tests too
	suite   *goTrier
}

func openRego(r room, o options, scratch string) ([]*mutant, trier, error) {
	found, err := findRego(o.root, r)
	if err != nil || o.list {
		return found, nil, err
	}
	if err := os.MkdirAll(scratch, 0o700); err != nil {
		return nil, nil, err
	}
	was, is := filepath.Join(o.root, r.dir, "embed.go"), filepath.Join(scratch, "embed.go")
	folders, err := builtIn(was)
	if err != nil {
		return nil, nil, err
	}
	if err := os.WriteFile(is, fmt.Appendf(nil, policiesFile, strings.Join(folders, " ")), 0o600); err != nil {
		return nil, nil, err
	}
	if err := (overlay{Replace: map[string]string{was: is}}).write(overlayPath(scratch)); err != nil {
		return nil, nil, err
	}
	t := &regoTrier{o: o, scratch: scratch, folders: folders, texts: map[string]string{}, suite: &goTrier{budget: o.budget, killers: map[string]string{}}}
	unchanged := filepath.Join(scratch, "policies-unchanged")
	if err := t.copyTo(unchanged); err != nil {
		return nil, nil, err
	}
	for _, dir := range r.tests {
		s := newSuite(o, dir, scratch, true)
		s.env = []string{envPolicies + "=" + unchanged}
		t.suite.suites = append(t.suite.suites, s)
	}
	for _, pattern := range []string{"rules/*/*/*.rego", "decide/*.rego"} {
		if err := t.read(filepath.Join(o.root, r.dir, pattern)); err != nil {
			return nil, nil, err
		}
	}
	return found, t, nil
}

// read takes in the rego files of a pattern, tests too.
func (t *regoTrier) read(pattern string) error {
	files, err := filepath.Glob(pattern)
	if err != nil {
		return err
	}
	for _, path := range files {
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(t.o.root, path)
		if err != nil {
			return err
		}
		t.texts[filepath.ToSlash(rel)] = string(text)
	}
	return nil
}

func (t *regoTrier) try(m *mutant, _ ...string) error {
	if m.fn != "METADATA" {
		by, viable, err := t.beside(m)
		switch {
		case err != nil:
			return err
		case !viable:
			m.outcome, m.by = unviable, by
			return nil
		case by != "":
			m.outcome, m.by = killed, by
			return nil
		}
	}
	if strings.HasPrefix(m.file, "policies/decide/") || t.o.own && m.fn != "METADATA" {
		m.outcome = survived // the service does not read the first
		return nil
	}
	return t.loaded(m)
}

// beside runs the test beside the rule and names the first case that fails.
func (t *regoTrier) beside(m *mutant) (by string, viable bool, err error) {
	modules := map[string]*ast.Module{}
	dir := filepath.Dir(m.file)
	for path, text := range t.texts {
		if filepath.Dir(path) != dir && filepath.Base(dir) != "decide" {
			continue
		}
		if path == m.file {
			text = m.rego
		}
		parsed, err := ast.ParseModule(path, text)
		if err != nil {
			return err.Error(), false, nil
		}
		modules[path] = parsed
	}
	ctx := context.Background()
	store := inmem.New()
	txn := storage.NewTransactionOrDie(ctx, store)
	defer store.Abort(ctx, txn)
	results, err := tester.NewRunner().SetCompiler(ast.NewCompiler()).SetStore(store).SetModules(modules).RunTests(ctx, txn)
	if err != nil { // it does not compile
		return err.Error(), false, nil
	}
	n := 0
	for r := range results { // to its end, or the runner waits for ever
		if n++; !r.Pass() && by == "" {
			by = r.Name
		}
	}
	if n == 0 {
		return "", true, fmt.Errorf("%s has no test beside it", m.file)
	}
	return by, true, nil
}

// copyTo copies what is built in into a folder.
func (t *regoTrier) copyTo(dir string) error {
	for _, folder := range t.folders {
		if err := os.CopyFS(filepath.Join(dir, folder), os.DirFS(filepath.Join(t.o.root, "policies", folder))); err != nil {
			return err
		}
	}
	return nil
}

// loaded gives the Go tests a copy of what is built in, with the changed rule in it. The rule is written as the stock tool formats it:
// a blank line where something was left out is no find.
func (t *regoTrier) loaded(m *mutant) error {
	text, err := format.Source(m.file, []byte(m.rego))
	if err != nil {
		m.outcome, m.by = unviable, err.Error()
		return nil
	}
	dir := filepath.Join(t.scratch, fmt.Sprintf("policies-%d", m.id))
	defer os.RemoveAll(dir)
	if err := t.copyTo(dir); err != nil {
		return err
	}
	rel := strings.TrimPrefix(m.file, "policies/")
	if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(rel)), text, 0o600); err != nil {
		return err
	}
	return t.suite.try(m, envPolicies+"="+dir)
}
