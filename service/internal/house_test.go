package internal_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	module = "keepclear.example/keepclear/"
	inside = module + "service/internal/"
)

// storey is a row of rooms. A room imports lower storeys, and what stands left of it in its own.
type storey struct {
	name  string
	rooms []string
}

// storeys, lowest first. The page doc.go lists the same rooms in the same order.
var storeys = []storey{
	{"numbers", []string{"unit", "frame", "solid", "mesh", "timescale", "sky"}},
	{"rig", []string{"rig", "reach", "inspect", "gauge", "pointing"}},
	{"asked", []string{"question", "pose", "facts"}},
	{"judged", []string{"verdict", "limits", "rules"}},
	{"kept", []string{"store", "record", "state"}},
	{"done", []string{"decide", "rehearse", "practice", "season", "draw", "survey"}},
	{"edge", []string{"wire", "rpc"}},
	{"tests only", []string{"nights", "faults", "slow", "sim"}},
}

// coming lists rooms that have a place and no code yet. A room that has code fails here until it is taken off.
var coming = map[string]string{}

// edge is an import that is forbidden although its storey may allow it.
type edge struct {
	from   []string // rooms and storeys; "all" is every room and the service itself
	except []string // rooms in from that may
	to     []string // import paths; one that ends in "/" stands for all below it
	why    string
}

// forbidden edges. Test files are free of them: a test may read a file or make a context.
var forbidden = []edge{
	{
		from: []string{"numbers", "rig", "asked"},
		to:   []string{"context", "os", "os/exec", "log", "log/slog", "net", "net/http", "database/sql", "math/rand", "math/rand/v2", "crypto/rand"},
		why:  "facts are pure functions: the same bytes through the same rules give the same findings, for ever",
	},
	{
		from: []string{"numbers", "rig", "asked"}, except: []string{"reach"}, to: []string{"sync", "sync/atomic"},
		why: "what is shared may change an answer; reach keeps what it proved of a cell, which comes out the same whoever asks first",
	},
	{
		from: []string{"judged"}, to: []string{"os", "log", "log/slog", "net", "net/http", "database/sql", "math/rand", "math/rand/v2"},
		why: "what is judged is facts and limits, nothing read on the way",
	},
	{
		from: []string{"all"}, except: []string{"rules"}, to: []string{"github.com/open-policy-agent/"},
		why: "one room knows OPA, so that another way of judging is one room's change",
	},
	{
		from: []string{"all"}, except: []string{"wire", "rpc", "service", "sim"}, to: []string{"google.golang.org/protobuf/", module + "api/", "buf.build/"},
		why: "an old entry must read after a proto change; degrees and radians meet in one place",
	},
	{
		from: []string{"all"}, except: []string{"rpc", "service"}, to: []string{"google.golang.org/grpc/", "google.golang.org/grpc", "google.golang.org/genproto/"},
		why: "only rpc knows status codes and connections",
	},
	{
		from: []string{"all"}, except: []string{"store", "faults"}, to: []string{"database/sql", "database/sql/driver", "modernc.org/"},
		why: "above the store the record is bytes in order",
	},
	{
		from: []string{"kept"}, to: []string{inside + "wire", module + "api/"},
		why: "an old entry must read after a proto change",
	},
	{
		from: []string{"practice"}, to: []string{inside + "decide", inside + "store"},
		why: "a simulated mount knows nothing of how it is judged, or practice would prove nothing",
	},
	{
		from: []string{"slow"}, to: []string{module},
		why: "a second opinion that shares code with the first shares its mistakes",
	},
	{
		from: []string{"all"}, to: []string{"math/rand"},
		why: "math/rand/v2, seeded by the caller, repeats; the old one has a global seed",
	},
}

// clocked lists the rooms that may set a timer, each with its why. Nobody but main reads the clock.
var clocked = map[string]string{
	"record": "a failed flush is tried again after 1, 2, 4 … 60 s",
	"rules":  "an evaluation that runs late is ended from outside: OPA has no time limit of its own",
}

// pkg is what go list tells of a package.
type pkg struct {
	ImportPath, Name, Dir, Doc string
	GoFiles                    []string
	Imports                    []string
}

// room returns the room's name, "service" for the service itself, or the path below the module.
func (p pkg) room() string {
	if r, ok := strings.CutPrefix(p.ImportPath, inside); ok {
		return r
	}
	return strings.TrimPrefix(p.ImportPath, module)
}

// askGo asks the go command for every package of the module that has code. Once: it takes a second.
var askGo = sync.OnceValues(func() ([]pkg, error) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Name,Dir,Doc,GoFiles,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		return nil, err
	}
	var all []pkg
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, err
		}
		if len(p.GoFiles) > 0 {
			all = append(all, p)
		}
	}
})

// listed returns the packages of the module.
func listed(t *testing.T) []pkg {
	t.Helper()
	all, err := askGo()
	require.NoError(t, err, "go list")
	require.NotEmpty(t, all, "go list")
	return all
}

// floor returns the storey of a room and its place in it; -1: none.
func floor(room string) (int, int) {
	for i, s := range storeys {
		if j := slices.Index(s.rooms, room); j >= 0 {
			return i, j
		}
	}
	return -1, -1
}

func TestEveryRoomHasItsPlace(t *testing.T) {
	exists := map[string]bool{}
	for _, p := range listed(t) {
		if r, ok := strings.CutPrefix(p.ImportPath, inside); ok {
			exists[r] = true
			f, _ := floor(r)
			assert.GreaterOrEqual(t, f, 0, "room %s stands in no storey: give it a place in storeys and in doc.go", r)
		}
	}
	for _, s := range storeys {
		for _, r := range s.rooms {
			_, waits := coming[r]
			assert.True(t, exists[r] != waits, "room %s: exists %v, on the list of coming rooms %v; want exactly one", r, exists[r], waits)
		}
	}
	for r := range coming {
		f, _ := floor(r)
		assert.GreaterOrEqual(t, f, 0, "coming room %s has no storey", r)
	}
}

func TestNothingIsImportedUpward(t *testing.T) {
	for _, p := range listed(t) {
		f, j := floor(p.room())
		for _, to := range p.Imports {
			room, ours := strings.CutPrefix(to, inside)
			if !ours {
				continue
			}
			tf, tj := floor(room)
			if storeys[max(tf, 0)].name == "tests only" {
				assert.Equal(t, tf, f, "%s imports %s, which is for tests", p.room(), room)
			}
			if f >= 0 && tf >= 0 {
				assert.True(t, tf < f || tf == f && tj < j, "%s (%s) imports %s (%s): upward, or to the right", p.room(), storeys[f].name, room, storeys[tf].name)
			}
		}
	}
}

// binds tells whether an edge is about a room.
func (e edge) binds(room string) bool {
	if slices.Contains(e.except, room) {
		return false
	}
	f, _ := floor(room)
	for _, from := range e.from {
		if from == "all" && (f >= 0 || room == "service") || from == room || f >= 0 && storeys[f].name == from {
			return true
		}
	}
	return false
}

// hits tells whether an import is what the edge forbids.
func (e edge) hits(path string) bool {
	return slices.ContainsFunc(e.to, func(to string) bool {
		return path == to || strings.HasSuffix(to, "/") && strings.HasPrefix(path, to)
	})
}

func TestForbiddenEdges(t *testing.T) {
	for _, p := range listed(t) {
		for _, e := range forbidden {
			for _, to := range p.Imports {
				assert.False(t, e.binds(p.room()) && e.hits(to), "%s imports %s: %s", p.room(), to, e.why)
			}
		}
	}
	for _, e := range forbidden { // an entry that names what is not there is stale
		for _, name := range slices.Concat(e.from, e.except) {
			f, _ := floor(name)
			known := f >= 0 || name == "all" || name == "service" || slices.ContainsFunc(storeys, func(s storey) bool { return s.name == name })
			assert.True(t, known, "forbidden names %s, which is no room and no storey", name)
		}
	}
}

func TestClientsAndAPIKeepClearOfTheService(t *testing.T) {
	for _, p := range listed(t) {
		outside := strings.HasPrefix(p.room(), "clients/") || strings.HasPrefix(p.room(), "api/") || strings.HasPrefix(p.room(), "policies")
		for _, to := range p.Imports {
			assert.False(t, outside && strings.HasPrefix(to, module+"service"), "%s imports %s: clients speak to the service, they do not link it", p.room(), to)
			assert.False(t, strings.HasPrefix(p.room(), "api/") && strings.HasPrefix(to, module), "%s imports %s: the API rests on nothing of ours", p.room(), to)
		}
	}
}

func TestEveryPackageIsIntroduced(t *testing.T) {
	for _, p := range listed(t) {
		assert.NotEmpty(t, p.Doc, "%s has no package comment", p.ImportPath)
		assert.NotContains(t, []string{"util", "utils", "common", "helpers", "misc"}, p.Name, "%s says nothing about what it holds", p.ImportPath)
	}
}

func TestThePageListsTheRoomsInOrder(t *testing.T) {
	page, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	var got, want []string
	for line := range strings.Lines(string(page)) {
		if title, ok := strings.CutPrefix(line, "// # "); ok {
			got = append(got, "# "+strings.TrimSpace(title))
		} else if item, ok := strings.CutPrefix(line, "//   - "); ok {
			room, _, _ := strings.Cut(item, ":")
			got = append(got, room)
		}
	}
	for _, s := range storeys {
		want = append(append(want, "# "+s.name), s.rooms...)
	}
	assert.Equal(t, want, got, "rooms on the page doc.go against storeys")
}

// handwritten returns the syntax of each file of ours that no tool wrote, tests left out.
func handwritten(t *testing.T, p pkg) map[string]*ast.File {
	t.Helper()
	files := map[string]*ast.File{}
	for _, name := range p.GoFiles {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution|parser.ParseComments)
		require.NoError(t, err)
		if !ast.IsGenerated(f) {
			files[p.room()+"/"+name] = f
		}
	}
	return files
}

// timers are what the package time offers to read the clock or to wait for it; readers only read it.
var (
	timers  = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick"}
	readers = timers[:3]
)

// clockUses returns what a file uses of them.
func clockUses(file *ast.File) []string {
	var used []string
	ast.Inspect(file, func(n ast.Node) bool {
		if sel, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(timers, sel.Sel.Name) {
				used = append(used, sel.Sel.Name)
			}
		}
		return true
	})
	return used
}

func TestNobodyReadsTheClock(t *testing.T) {
	waits := map[string]bool{}
	for _, p := range listed(t) {
		if !strings.HasPrefix(p.ImportPath, inside) {
			continue
		}
		for name, file := range handwritten(t, p) {
			for _, use := range clockUses(file) {
				waits[p.room()] = true
				lawful := clocked[p.room()] != "" && !slices.Contains(readers, use)
				assert.True(t, lawful, "%s uses time.%s: the clock comes in as now func() time.Time", name, use)
			}
		}
	}
	for r := range clocked {
		assert.True(t, waits[r], "room %s may set timers and sets none: take it off clocked", r)
	}
}

func TestNoInit(t *testing.T) {
	for _, p := range listed(t) {
		for name, file := range handwritten(t, p) {
			for _, d := range file.Decls {
				f, ok := d.(*ast.FuncDecl)
				assert.False(t, ok && f.Recv == nil && f.Name.Name == "init", "%s has an init: nothing may happen before main", name)
			}
		}
	}
}

// maxLines bounds a file. House rule, no source: about 120 lines, none over 600.
const maxLines = 600

func TestNoFileIsTooLong(t *testing.T) {
	for _, p := range listed(t) {
		for name := range handwritten(t, p) {
			text, err := os.ReadFile(filepath.Join(p.Dir, filepath.Base(name)))
			require.NoError(t, err)
			assert.LessOrEqual(t, bytes.Count(text, []byte("\n")), maxLines, "lines of %s", name)
		}
	}
}
