package limits

import "fmt"

// Layer is what one facility, class of rigs or rig says of its limits. Later layers bind more narrowly.
type Layer struct {
	Name    string // origin of what it sets: "facility", "class NAME", "rig NAME"
	File    string // for messages
	Entries []Entry
}

// Entry is one limit as a file states it, unchecked: Merge checks it.
type Entry struct {
	Rule, Name string
	Value      any // float64 or int; anything else is a fault
	Line       int // in the file; 0: not known
}

// ParseLayer reads a limit file: rule id, under it limit names with their numbers, and "..." as the last line.
//
//	sky/floor:
//	  altitude_deg: 5
//	...
//
// It finds what is wrong with the file's shape; Merge finds what is wrong with the numbers.
func ParseLayer(name, file string, data []byte) (Layer, error) {
	layer := Layer{Name: name, File: file}
	top, faults := parse(file, data)
	for _, rule := range top {
		if !rule.isMap() {
			faults = append(faults, rule.fault(file, rule.key, "limit names with their numbers below it", "write each limit on its own line, indented"))
			continue
		}
		for _, limit := range rule.children {
			layer.Entries = append(layer.Entries, Entry{Rule: rule.key, Name: limit.key, Value: limit.value, Line: limit.line})
		}
	}
	if faults = sorted(faults); faults != nil {
		return Layer{}, fmt.Errorf("reading limits of %s: %w", name, faults)
	}
	return layer, nil
}
