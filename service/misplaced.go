package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// misplaced is the fault of what somebody put among rig files and takes for in force: rules, limits by the layout of the policies, or limits under a
// name that is almost theirs. A folder of notes that bears such a name is none.
func misplaced(path string) error {
	base := strings.ToLower(filepath.Base(path))
	switch {
	case filepath.Ext(base) == ".rego" || slices.Contains([]string{"rules", "limits", "policies"}, base) && holdsRules(path):
		return fmt.Errorf("%s would not be read: rules are part of the program, and a site's own limits stand in %s beside the rig files; take it out of the folder, and see policies/README.md", path, limitsFile)
	case base == "limits.yml" || base == limitsFile && filepath.Base(path) != limitsFile:
		return fmt.Errorf("%s would not be read as limits: they stand in %s, in small letters; rename it", path, limitsFile)
	}
	return nil
}

// holdsRules tells whether a folder holds, at any depth, what could be meant for rules or limits. What of it cannot be read might be.
func holdsRules(folder string) (holds bool) {
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return false
	}
	_ = fs.WalkDir(os.DirFS(folder), ".", func(path string, _ fs.DirEntry, err error) error {
		if holds = err != nil || slices.Contains([]string{".rego", ".yaml", ".yml"}, strings.ToLower(filepath.Ext(path))); holds {
			return fs.SkipAll
		}
		return nil
	})
	return holds
}
