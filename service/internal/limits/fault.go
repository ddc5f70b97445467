package limits

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// ErrFaulty is the class of all errors about limits.
var ErrFaulty = errors.New("limits are faulty")

// Fault is one thing wrong with one limit file.
type Fault struct {
	File   string
	Line   int    // 0: the file as a whole, or not known
	Key    string // "sky/floor altitude_deg"
	Wanted string
	Got    string
	Remedy string
}

// String says it in one line.
func (f Fault) String() string {
	place := f.File
	if f.Line > 0 {
		place = fmt.Sprintf("%s:%d", f.File, f.Line)
	}
	return fmt.Sprintf("%s: %s: wanted %s, got %s; %s", place, f.Key, f.Wanted, f.Got, f.Remedy)
}

// Faults is all that is wrong, by file, line and key. It is an error of class ErrFaulty.
type Faults []Fault

// Error lists every fault, one a line.
func (fs Faults) Error() string {
	lines := make([]string, 0, len(fs))
	for _, f := range fs {
		lines = append(lines, f.String())
	}
	return strings.Join(lines, "\n")
}

// Is makes errors.Is(err, ErrFaulty) true.
func (fs Faults) Is(target error) bool { return target == ErrFaulty }

// sorted puts faults in the order of their place and returns nil for none.
func sorted(fs Faults) Faults {
	if len(fs) == 0 {
		return nil
	}
	sort.SliceStable(fs, func(i, j int) bool {
		a, b := fs[i], fs[j]
		if a.File != b.File {
			return a.File < b.File
		}
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Key < b.Key
	})
	return fs
}
