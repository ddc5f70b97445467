package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// overlay is the file that tells the go command what to read in the place of what.
type overlay struct{ Replace map[string]string }

func (o overlay) write(path string) error {
	text, err := json.Marshal(o)
	if err != nil {
		return err
	}
	return os.WriteFile(path, text, 0o600)
}

// openGo builds every mutant of a room into copies of its files. What does not build is left out, line by line, as not viable.
func openGo(r room, o options, scratch string) ([]*mutant, trier, error) {
	s, err := load(o.root, r.dir)
	if err != nil {
		return nil, nil, err
	}
	f := find(s, r)
	if o.list {
		return f.mutants, nil, nil
	}
	if err := os.MkdirAll(scratch, 0o700); err != nil {
		return nil, nil, err
	}
	without := map[int]bool{}
	for round := 0; ; round++ {
		if err := f.write(o.root, scratch, without); err != nil {
			return nil, nil, err
		}
		said, err := f.build(o.root, scratch)
		if err == nil {
			break
		}
		if left := len(without); round == 30 || f.leaveOut(said, without) == left {
			return nil, nil, fmt.Errorf("the mutants do not build: %w\n%s", err, said)
		}
	}
	return f.mutants, newGoTrier(r, o, scratch), nil
}

func overlayPath(scratch string) string { return filepath.Join(scratch, "overlay.json") }

// write writes the changed files and the overlay.
func (f *finder) write(root, scratch string, without map[int]bool) error {
	o := overlay{Replace: map[string]string{}}
	put := func(path, text string) error {
		to := filepath.Join(scratch, filepath.Base(path))
		o.Replace[filepath.Join(root, path)] = to
		return os.WriteFile(to, []byte(text), 0o600)
	}
	for path, edits := range f.edits {
		if err := put(path, apply(f.text[path], edits, without)+f.stillUsed(path)); err != nil {
			return err
		}
	}
	if err := put(f.dir+"/"+helperFile, helpers(f.source.name)); err != nil {
		return err
	}
	return o.write(overlayPath(scratch))
}

// stillUsed keeps an import used whose only use was math.Min or math.Max.
func (f *finder) stillUsed(path string) string {
	for _, file := range f.files {
		if f.fset.Position(file.Pos()).Filename != path {
			continue
		}
		for _, i := range file.Imports {
			if i.Path.Value == `"math"` {
				return "\nvar _ = math.Pi\n"
			}
		}
	}
	return ""
}

func (f *finder) build(root, scratch string) (string, error) {
	cmd := exec.Command("go", "build", "-gcflags=-e", "-overlay", overlayPath(scratch), "./"+f.dir)
	cmd.Dir = root
	said, err := cmd.CombinedOutput()
	return string(said), err
}

var compileError = regexp.MustCompile(`(?m)^(?:\./)?([^\s:]+\.go):(\d+):\d+: (.*)$`)

// leaveOut gives up the mutants of the lines that the compiler names, and returns how many places are given up by now.
func (f *finder) leaveOut(said string, without map[int]bool) int {
	for _, e := range compileError.FindAllStringSubmatch(said, -1) {
		line, _ := strconv.Atoi(e[2])
		for _, m := range f.mutants {
			if filepath.Base(m.file) == filepath.Base(e[1]) && m.line == line {
				without[m.id] = true
				m.outcome, m.by = unviable, strings.TrimSpace(e[3])
			}
		}
		for path, edits := range f.edits { // a constant's mutants stand elsewhere than the places that use it
			for _, d := range edits {
				if filepath.Base(path) == filepath.Base(e[1]) && 1+strings.Count(string(f.text[path][:d.from]), "\n") == line {
					without[d.site] = true
					m := f.mutants[d.site-1]
					m.outcome, m.by = unviable, strings.TrimSpace(e[3])
				}
			}
		}
	}
	f.givenUp(without)
	return len(without)
}

// givenUp marks the second mutants of a place whose first is given up.
func (f *finder) givenUp(without map[int]bool) {
	sites := map[int]bool{}
	for _, edits := range f.edits {
		for _, d := range edits {
			sites[d.site] = true
		}
	}
	for _, m := range f.mutants {
		if !sites[m.id] && m.id > 1 && without[m.id-1] {
			m.outcome, m.by = unviable, f.mutants[m.id-2].by
		}
	}
}
