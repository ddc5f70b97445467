package rules

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/open-policy-agent/opa/v1/ast"
)

// library is the rules of one revision, without limits. Everything but the cache is read only after load.
type library struct {
	rules    []*rule        // by id
	facts    []known        // by name
	place    map[string]int // of a fact among facts
	titles   map[string]string
	compiler *ast.Compiler
	digest   [sha256.Size]byte
	lint     bool // false only in tests, which load what no load lets through

	mu    sync.Mutex
	bound map[[sha256.Size]byte]*binding // by digest of the limits
}

// known is a fact that some rule reads.
type known struct {
	name   string
	key    *ast.Term
	danger danger
}

// schema is the part of schema/facts.json that Go reads.
type schema struct {
	Properties map[string]struct {
		Type  string `json:"type"`
		Title string `json:"title"`
	} `json:"properties"`
	AdditionalProperties any `json:"additionalProperties"`
}

// loading is the work of one load.
type loading struct {
	lib    *library
	files  fs.FS
	schema schema
	set    *ast.SchemaSet
	may    *ast.Capabilities
	faults Faults
}

// load reads rules/<area>/<rule>/<rule>.rego and schema/facts.json. Tests beside the rules are not read.
func load(policies fs.FS, lint bool) (*library, error) {
	l := &loading{lib: &library{lint: lint, titles: map[string]string{}, place: map[string]int{}, bound: map[[sha256.Size]byte]*binding{}}, files: policies, may: capabilities()}
	names, texts, err := l.read()
	if err != nil {
		return nil, fmt.Errorf("loading rules: %w", err)
	}
	parsed := l.parse(names, texts)
	l.lib.digest = sha256.Sum256(joined(append(names, schemaFile), texts))
	for i, name := range append(names, schemaFile) {
		if name == schemaFile {
			l.readSchema(texts[i])
			continue
		}
		l.readRule(name, parsed[i].module, parsed[i].err)
	}
	l.complete()
	if err := l.faults.err("loading rules"); err != nil {
		return nil, err
	}
	return l.lib, nil
}

// read returns the rule files, and their texts, the schema's last.
func (l *loading) read() (names []string, texts [][]byte, err error) {
	if names, err = l.list(); err != nil {
		return nil, nil, err
	}
	texts = make([][]byte, 0, len(names)+1)
	for _, name := range append(names, schemaFile) {
		text, err := fs.ReadFile(l.files, name)
		if err != nil {
			return nil, nil, err
		}
		texts = append(texts, text)
	}
	return names, texts, nil
}

// joined is what the digest of a set of rules covers: each file's path, length and text.
func joined(names []string, texts [][]byte) []byte {
	var out []byte
	for i, name := range names {
		out = append(fmt.Appendf(out, "%s %d\n", name, len(texts[i])), texts[i]...)
	}
	return out
}

// Text returns the rules of a policies folder and the schema of their facts as one text: its SHA-256 is the Digest of a Set that is made of them.
func Text(policies fs.FS) ([]byte, error) {
	l := &loading{files: policies}
	names, texts, err := l.read()
	if err != nil {
		return nil, fmt.Errorf("reading the rules: %w", err)
	}
	return joined(append(names, schemaFile), texts), nil
}

const schemaFile = "schema/facts.json"

// list returns the rule files, refusing anything that is not where a rule belongs.
func (l *loading) list() ([]string, error) {
	var names []string
	err := fs.WalkDir(l.files, "rules", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(name, "_test.rego") {
			return err
		}
		if id := path.Dir(strings.TrimPrefix(name, "rules/")); len(idParts(id)) != 2 || path.Base(name) != path.Base(id)+".rego" {
			l.faults = append(l.faults, Fault{File: name, Wanted: "rules/<area>/<rule>/<rule>.rego and its test", Got: "another file", Remedy: "move it away"})
			return nil
		}
		names = append(names, name)
		return nil
	})
	return names, err
}

// idParts splits area/name.
func idParts(id string) []string { return strings.Split(id, "/") }

// readSchema reads the names, types and titles of facts.
func (l *loading) readSchema(text []byte) {
	var whole any
	err := errors.Join(json.Unmarshal(text, &whole), json.Unmarshal(text, &l.schema))
	if err != nil || l.schema.AdditionalProperties != false {
		l.faults = append(l.faults, Fault{File: schemaFile, Wanted: "a JSON schema that allows no further facts", Got: fmt.Sprint("error ", err), Remedy: asDelivered})
		return
	}
	l.set = ast.NewSchemaSet()
	l.set.Put(ast.MustParseRef("schema.facts"), whole)
	for name, p := range l.schema.Properties {
		l.lib.titles[name] = p.Title
	}
}

// parsed is what came of parsing one file.
type parsed struct {
	module *ast.Module
	err    error
}

// parse parses files side by side: a start waits for the rules while a processor is free.
func (l *loading) parse(names []string, texts [][]byte) []parsed {
	out := make([]parsed, len(names))
	var next atomic.Int64
	var all sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(names); i = int(next.Add(1)) - 1 {
				out[i].module, out[i].err = ast.ParseModuleWithOpts(names[i], string(texts[i]), ast.ParserOptions{ProcessAnnotation: true, Capabilities: l.may})
			}
		})
	}
	all.Wait()
	return out
}

// readRule lints one file as it was parsed.
func (l *loading) readRule(file string, m *ast.Module, err error) {
	id := path.Dir(strings.TrimPrefix(file, "rules/"))
	if err != nil || m == nil {
		l.opaErrors(file, err)
		return
	}
	if want := "data.rules." + strings.Join(idParts(id), "."); m.Package.Path.String() != want {
		l.faults = append(l.faults, Fault{File: file, Wanted: "package " + strings.TrimPrefix(want, "data."), Got: m.Package.String(), Remedy: "the package is the folder's path"})
		return
	}
	r := &rule{Rule: Rule{ID: id}, file: file, module: m}
	var faults Faults
	r.source, faults = readSource(file, id, m)
	faults = append(faults, readMeta(r)...)
	if l.lib.lint {
		l.faults = append(l.faults, faults...)
	}
	l.lib.rules = append(l.lib.rules, r)
}

// opaErrors turns OPA's errors, which know their place, into faults.
func (l *loading) opaErrors(file string, err error) {
	var list ast.Errors
	if !errors.As(err, &list) {
		l.faults = append(l.faults, Fault{File: file, Wanted: "a rule in Rego", Got: fmt.Sprint("error ", err), Remedy: asDelivered})
		return
	}
	for _, e := range list {
		f := Fault{File: file, Wanted: "a rule in Rego", Got: e.Message, Remedy: asDelivered}
		if e.Location != nil {
			f.File, f.Line = e.Location.File, e.Location.Row
		}
		l.faults = append(l.faults, f)
	}
}

// complete compiles the set and checks what holds between its members.
func (l *loading) complete() {
	slices.SortFunc(l.lib.rules, func(a, b *rule) int { return strings.Compare(a.ID, b.ID) })
	modules := make(map[string]*ast.Module, len(l.lib.rules))
	for _, r := range l.lib.rules {
		modules[r.file] = r.module
	}
	c := ast.NewCompiler().WithStrict(true).WithCapabilities(l.may).WithSchemas(l.set).WithUseTypeCheckAnnotations(true)
	if c.Compile(modules); c.Failed() {
		l.opaErrors("", c.Errors)
	}
	l.lib.compiler = c
	l.gatherFacts()
	if l.lib.lint {
		l.requiredThere()
	}
}

// gatherFacts lists the facts that are read, each with its dangerous side, and holds them against the schema.
func (l *loading) gatherFacts() {
	sides := map[string]danger{}
	for _, r := range l.lib.rules {
		for fact, k := range r.source.checked {
			if got := l.schema.Properties[fact].Type; got != string(k) {
				l.faults = append(l.faults, Fault{File: r.file, Wanted: fmt.Sprintf("the fact %s of type %s in %s", fact, k, schemaFile), Got: fmt.Sprintf("type %q", got), Remedy: "correct the name, or add the fact to the schema"})
			}
			side := r.source.danger[fact]
			if other, seen := sides[fact]; seen && side != 0 && other == -side {
				l.faults = append(l.faults, Fault{File: r.file, Wanted: "one dangerous side of the fact " + fact + " in all rules", Got: "the other one here", Remedy: "use a fact of its own"})
			}
			sides[fact] = side
		}
	}
	for i, name := range slices.Sorted(maps.Keys(sides)) {
		l.lib.place[name] = i
		l.lib.facts = append(l.lib.facts, known{name: name, key: ast.InternedTerm(name), danger: sides[name]})
	}
}

// requiredThere wants every rule that some action requires, and that it applies wherever it is required.
func (l *loading) requiredThere() {
	for _, id := range requiredAtLoad() {
		if l.lib.find(id) == nil {
			l.faults = append(l.faults, Fault{File: "rules/" + id, Wanted: fmt.Sprintf("the rule, which %v require", requiredFor(id)), Got: "none", Remedy: asDelivered})
		}
	}
	for _, action := range actions() {
		for _, traits := range [][]string{nil, {SkyTarget}, {Tracks}, {SkyTarget, Tracks}} {
			sub := Subject{Action: action, Traits: traits}
			for _, id := range Required(sub) {
				if r := l.lib.find(id); r != nil && r.applies(sub) != "" {
					l.faults = append(l.faults, Fault{File: r.file, Wanted: fmt.Sprintf("METADATA that lets it judge %s %v, where it is required", action, traits), Got: r.applies(sub), Remedy: asDelivered})
				}
			}
		}
	}
}

// find returns a rule by id, nil if it is not loaded.
func (l *library) find(id string) *rule {
	i, ok := slices.BinarySearchFunc(l.rules, id, func(r *rule, id string) int { return strings.Compare(r.ID, id) })
	if !ok {
		return nil
	}
	return l.rules[i]
}

// capabilities is the whole of Rego that a rule may use: comparisons, type checks and the reading of a fact that may be
// missing. Time, network, randomness and all else are not known to the compiler, so that a rule that asks for them does not
// load.
func capabilities() *ast.Capabilities {
	c := ast.CapabilitiesForThisVersion()
	allowed := []string{"gte", "lte", "gt", "lt", "equal", "neq", "eq", "assign", "is_number", "is_string", "is_boolean", "object.get"}
	c.Builtins = slices.DeleteFunc(slices.Clone(c.Builtins), func(b *ast.Builtin) bool { return !slices.Contains(allowed, b.Name) })
	c.AllowNet = []string{}
	return c
}
