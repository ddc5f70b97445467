package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// Changed in a rule: comparisons; checks of type left out; the default left out; each effect, code, fact, limit and outcome exchanged for
// another of the same file; numbers doubled and zero. In its METADATA: each action and need left out, each fact and limit
// exchanged, what is done where the fact is missing.

// regoFinder makes the mutants of one rule.
type regoFinder struct {
	room, path string
	lines      []string
	line       int
	fn         string
	mutants    []*mutant
}

func regoFiles(root, dir string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(filepath.Join(root, dir), func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".rego") && !strings.HasSuffix(path, "_test.rego") {
			rel, err := filepath.Rel(root, path)
			out = append(out, filepath.ToSlash(rel))
			return err
		}
		return err
	})
	return out, err
}

func findRego(root string, r room) ([]*mutant, error) {
	files, err := regoFiles(root, r.dir)
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, errors.New("no rules")
	}
	var out []*mutant
	for _, path := range files {
		text, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			return nil, err
		}
		f := &regoFinder{room: r.name, path: path, lines: strings.Split(string(text), "\n")}
		f.all()
		out = append(out, f.mutants...)
	}
	for i, m := range out {
		m.id = i + 1
	}
	return out, nil
}

var head = regexp.MustCompile(`^(default )?(\w+)`)

func (f *regoFinder) all() {
	code, meta := f.words()
	for i, l := range f.lines {
		f.line = i
		if strings.HasPrefix(l, "#") {
			f.fn = "METADATA"
			f.described(l, meta)
			continue
		}
		if m := head.FindStringSubmatch(l); m != nil {
			f.fn = m[2]
		}
		if f.fn != "package" && f.fn != "import" && !strings.HasPrefix(strings.TrimSpace(l), "#") {
			f.code(l, code)
		}
	}
}

// What is exchanged for another of its kind: the pattern's first group.
var (
	codeWords = map[string]*regexp.Regexp{
		"fact":    regexp.MustCompile(`(?:\binput\.|get\(input, ")(\w+)`),
		"limit":   regexp.MustCompile(`\blimits\.(\w+)`),
		"code":    regexp.MustCompile(`"code": "(\w+)"`),
		"outcome": regexp.MustCompile(`(?:true|false): ([a-z]\w+)\b`),
	}
	metaWords = map[string]*regexp.Regexp{
		"fact":  regexp.MustCompile(`\bfact: (\w+)`),
		"limit": regexp.MustCompile(`\blimit: (\w+)`),
	}
)

// words collects what the file has of each kind.
func (f *regoFinder) words() (code, meta map[string][]string) {
	code, meta = map[string][]string{}, map[string][]string{}
	for _, l := range f.lines {
		into, patterns := code, codeWords
		if strings.HasPrefix(l, "#") {
			into, patterns = meta, metaWords
		}
		for kind, p := range patterns {
			for _, m := range p.FindAllStringSubmatch(l, -1) {
				if !slices.Contains(into[kind], m[1]) {
					into[kind] = append(into[kind], m[1])
				}
			}
		}
	}
	return code, meta
}

// exchange puts each other word of its kind in the place of one.
func (f *regoFinder) exchange(l string, patterns map[string]*regexp.Regexp, words map[string][]string) {
	for _, kind := range []string{"fact", "limit", "code", "outcome"} {
		if patterns[kind] == nil {
			continue
		}
		for _, at := range patterns[kind].FindAllStringSubmatchIndex(l, -1) {
			for _, other := range words[kind] {
				if was := l[at[2]:at[3]]; was != other {
					f.note(kind+" "+was+" to "+other, l[:at[2]]+other+l[at[3]:])
				}
			}
		}
	}
}

// note enters a mutant that has another line in the place of this one.
func (f *regoFinder) note(change, line string) {
	lines := slices.Clone(f.lines)
	lines[f.line] = line
	f.mutants = append(f.mutants, &mutant{
		room: f.room, file: f.path, line: f.line + 1, fn: f.fn, text: clip(f.lines[f.line]), change: change, rego: strings.Join(lines, "\n"),
	})
}

var (
	comparison = regexp.MustCompile(` (<=|>=|<|>|==|!=) `)
	check      = regexp.MustCompile(`^\s+(is_\w+|not is_\w+)\(.*\)$`)
	effect     = regexp.MustCompile(`"effect": "(\w+)"`)
	digits     = regexp.MustCompile(`(^|[ (\[,])(\d+(?:\.\d+)?)([ )\],]|$)`)
	others     = map[string][]string{
		"<=": {"<", ">"}, "<": {"<=", ">="}, ">=": {">", "<"}, ">": {">=", "<="}, "==": {"!="}, "!=": {"=="},
		"pass": {"hold", "deny"}, "hold": {"pass", "deny"}, "deny": {"hold", "pass"},
	}
)

func (f *regoFinder) code(l string, words map[string][]string) {
	if check.MatchString(l) {
		f.note("left out", "")
	}
	if strings.HasPrefix(l, "default ") {
		f.note("left out", "")
	}
	for _, p := range []*regexp.Regexp{comparison, effect} {
		for _, at := range p.FindAllStringSubmatchIndex(l, -1) {
			was := l[at[2]:at[3]]
			for _, other := range others[was] {
				f.note(was+" to "+other, l[:at[2]]+other+l[at[3]:])
			}
		}
	}
	for _, at := range digits.FindAllStringSubmatchIndex(l, -1) {
		for _, other := range []string{"0", "2" + l[at[4]:at[5]]} {
			if was := l[at[4]:at[5]]; was != other {
				f.note(was+" to "+other, l[:at[4]]+other+l[at[5]:])
			}
		}
	}
	f.exchange(l, codeWords, words)
}

var (
	list      = regexp.MustCompile(`^#\s+(actions|need|needs|when|lacks): \[(.*)\]$`)
	ifMissing = regexp.MustCompile(`\bif_missing: (\w+)`)
)

func (f *regoFinder) described(l string, words map[string][]string) {
	if m := list.FindStringSubmatchIndex(l); m != nil {
		items := strings.Split(l[m[4]:m[5]], ", ")
		for i, item := range items {
			rest := slices.Delete(slices.Clone(items), i, i+1)
			f.note("without "+item, l[:m[4]]+strings.Join(rest, ", ")+l[m[5]:])
		}
	}
	if m := ifMissing.FindStringSubmatchIndex(l); m != nil {
		other := "repair"
		if l[m[2]:m[3]] == other {
			other = "sample"
		}
		f.note("if missing "+other, l[:m[2]]+other+l[m[3]:])
	}
	f.exchange(l, metaWords, words)
}
