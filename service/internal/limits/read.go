package limits

import (
	"fmt"
	"io/fs"
	"math"
	"slices"
	"sort"
	"strings"
)

// Read reads the definitions: every file of the folder limits, each rule id → limit name → default, bound, safe, title,
// reason, may_loosen.
func Read(policies fs.FS) ([]Definition, error) {
	names, err := fs.Glob(policies, "limits/*.yaml")
	if err != nil {
		return nil, fmt.Errorf("listing limits: %w", err)
	}
	var defs []Definition
	var faults Faults
	for _, file := range names {
		data, err := fs.ReadFile(policies, file)
		if err != nil {
			return nil, fmt.Errorf("reading limits: %w", err)
		}
		more, wrong := readFile(file, data)
		defs, faults = append(defs, more...), append(faults, wrong...)
	}
	faults = append(faults, repeated(defs)...)
	if len(defs) == 0 && len(faults) == 0 {
		faults = Faults{{File: "limits", Key: "folder", Wanted: "files that define limits", Got: "none", Remedy: "put the policies back as they were delivered"}}
	}
	if faults = sorted(faults); faults != nil {
		return nil, fmt.Errorf("reading limit definitions: %w", faults)
	}
	sort.Slice(defs, func(i, j int) bool { return defs[i].key() < defs[j].key() })
	return defs, nil
}

// readFile reads the definitions of one file.
func readFile(file string, data []byte) ([]Definition, Faults) {
	top, faults := parse(file, data)
	var defs []Definition
	for _, rule := range top {
		for _, limit := range rule.children {
			d, wrong := define(file, rule.key, limit)
			defs, faults = append(defs, d), append(faults, wrong...)
		}
		if len(rule.children) == 0 {
			faults = append(faults, rule.fault(file, rule.key, "limits below it", "name at least one limit, or delete the rule"))
		}
	}
	return defs, faults
}

// define reads one definition.
func define(file, rule string, e entry) (Definition, Faults) {
	d := Definition{Rule: rule, Name: e.key}
	var faults Faults
	bad := func(c entry, wanted string) {
		faults = append(faults, c.fault(file, d.key()+" "+c.key, wanted, "see policies/README.md, limits"))
	}
	var direction string
	for _, c := range e.children {
		switch c.key {
		case "title":
			d.Title = text(c, bad)
		case "reason":
			d.Reason = text(c, bad)
		case "may_loosen":
			d.MayLoosen = text(c, bad)
		case "safe":
			direction = text(c, bad)
			d.SmallerIsSafer = direction == "smaller"
		case "default":
			d.Default = number(c, bad)
		case "bound":
			d.Bound = number(c, bad)
		default:
			bad(c, "title, reason, default, bound, safe or may_loosen")
		}
	}
	if d.Title == "" || d.Reason == "" || d.MayLoosen == "" || !slices.Contains([]string{"smaller", "larger"}, direction) {
		bad(e, "title, reason, may_loosen and safe: smaller or larger")
	}
	switch {
	case d.Default == nil:
	case d.Bound == nil:
		bad(e, "a bound beside the default")
	case !d.within(*d.Default):
		faults = append(faults, Fault{
			File: file, Line: e.line, Key: d.key(), Wanted: fmt.Sprintf("a default no looser than the bound %v, where safe is %q", *d.Bound, direction), Got: fmt.Sprint(*d.Default),
			Remedy: "exchange the two, or mend safe: the direction in which the limit tightens",
		})
	}
	return d, faults
}

// text reads words; an empty text is a fault.
func text(c entry, bad func(entry, string)) string {
	s, ok := c.value.(string)
	if !ok || strings.TrimSpace(s) == "" {
		bad(c, "text")
	}
	return s
}

// number reads a finite number.
func number(c entry, bad func(entry, string)) *float64 {
	v, ok := finite(c.value)
	if !ok {
		bad(c, "a finite number")
		return nil
	}
	return &v
}

// finite turns what a file holds into a number; false for text, true/false, nothing, NaN and infinity.
func finite(value any) (float64, bool) {
	var v float64
	switch n := value.(type) {
	case float64:
		v = n
	case int:
		v = float64(n)
	default:
		return 0, false
	}
	return v, !math.IsNaN(v) && !math.IsInf(v, 0)
}

// repeated finds limits that two files define.
func repeated(defs []Definition) Faults {
	var faults Faults
	seen := make(map[string]bool, len(defs))
	for _, d := range defs {
		if seen[d.key()] {
			faults = append(faults, Fault{File: "limits", Key: d.key(), Wanted: "one definition", Got: "two", Remedy: "delete one of the two"})
		}
		seen[d.key()] = true
	}
	return faults
}
