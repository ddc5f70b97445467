package rules

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// ErrFaulty is the class of all errors about rules: what does not load.
var ErrFaulty = errors.New("rules are faulty")

// Fault is one thing wrong with the rules.
type Fault struct {
	File   string // below policies/; empty: the set as a whole
	Line   int    // 0: the file as a whole
	Wanted string
	Got    string
	Remedy string
}

// String says it in one line.
func (f Fault) String() string {
	place := f.File
	if place == "" {
		place = "rules"
	}
	if f.Line > 0 {
		place = fmt.Sprintf("%s:%d", place, f.Line)
	}
	return fmt.Sprintf("%s: wanted %s, got %s; %s", place, f.Wanted, f.Got, f.Remedy)
}

// Faults is all that is wrong, by place. It is an error of class ErrFaulty.
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

// err returns the faults in order as an error, nil for none.
func (fs Faults) err(doing string) error {
	if len(fs) == 0 {
		return nil
	}
	sort.SliceStable(fs, func(i, j int) bool {
		if fs[i].File != fs[j].File {
			return fs[i].File < fs[j].File
		}
		return fs[i].Line < fs[j].Line
	})
	return fmt.Errorf("%s: %w", doing, fs)
}

// asDelivered is the remedy where a file of ours is not as it was built.
const asDelivered = "put the policies back as they were delivered, or mend the file; policies/README.md says what a rule looks like"
