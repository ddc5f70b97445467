package limits

import (
	"bytes"
	"fmt"

	"go.yaml.in/yaml/v3"
)

// entry is one "key: value" of a file, with its line.
type entry struct {
	key      string
	line     int
	value    any     // of a scalar: float64, int, string, bool or nil; of anything else: its kind as text
	children []entry // of a map
	mapping  bool
}

func (e entry) isMap() bool { return e.mapping }

// fault says what is wrong with an entry.
func (e entry) fault(file, key, wanted, remedy string) Fault {
	return Fault{File: file, Line: e.line, Key: key, Wanted: wanted, Got: shown(e), Remedy: remedy}
}

// shown is what stands in the file, for a message.
func shown(e entry) string {
	if e.value == nil {
		return "nothing"
	}
	return fmt.Sprintf("%#v", e.value)
}

// parse reads a file whose top level is a map and whose last line is the end mark.
func parse(file string, data []byte) ([]entry, Faults) {
	whole := Fault{File: file, Key: "file", Got: "none", Remedy: "the file may have been cut short: put the whole file back, or write ... as its last line"}
	if !bytes.HasSuffix(bytes.TrimRight(data, "\r\n"), []byte("\n...")) {
		whole.Wanted = "the end mark ... as the last line"
		return nil, Faults{whole}
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		whole.Wanted, whole.Got, whole.Remedy = "YAML", err.Error(), "mend the line that is named"
		return nil, Faults{whole}
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		whole.Wanted, whole.Remedy = "rule ids at the left margin", "start with a rule id and a colon, such as sky/floor:"
		return nil, Faults{whole}
	}
	return entries(file, doc.Content[0], "")
}

// entries reads the pairs of a map, keeping their order; a key written twice is a fault.
func entries(file string, n *yaml.Node, path string) ([]entry, Faults) {
	var out []entry
	var faults Faults
	seen := make(map[string]bool, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		e := entry{key: k.Value, line: k.Line}
		if seen[k.Value] {
			faults = append(faults, Fault{File: file, Line: k.Line, Key: path + k.Value, Wanted: "each key once", Got: "it a second time", Remedy: "delete one of the two"})
			continue
		}
		seen[k.Value] = true
		var below Faults
		e.value, e.children, below = content(file, v, path+k.Value+" ")
		e.mapping = v.Kind == yaml.MappingNode
		faults = append(faults, below...)
		out = append(out, e)
	}
	return out, faults
}

// content reads what stands behind a colon.
func content(file string, v *yaml.Node, path string) (any, []entry, Faults) {
	switch v.Kind {
	case yaml.MappingNode:
		children, faults := entries(file, v, path)
		return "a group of keys", children, faults
	case yaml.ScalarNode:
		var value any
		if err := v.Decode(&value); err != nil {
			return v.Value, nil, nil // a tag that does not fit: text, which no number field takes
		}
		return value, nil, nil
	case yaml.SequenceNode:
		return "a list", nil, nil
	case yaml.AliasNode, yaml.DocumentNode:
	}
	return "an alias", nil, nil
}
