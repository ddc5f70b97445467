package limits

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

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
	doc, more, err := document(data)
	switch {
	case err != nil:
		whole.Wanted, whole.Remedy = "YAML", "mend that line, or the one before"
		whole.Line, whole.Got = placed(err)
		return nil, Faults{whole}
	case more > 0: // what stands in it would count for nothing, and its author would take it as in force
		whole.Line, whole.Wanted, whole.Got = more, "all limits in one document, and ... as the last line alone", "a second document"
		whole.Remedy = "delete the line ... or --- that stands between the two"
		return nil, Faults{whole}
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		whole.Wanted, whole.Remedy = "rule ids at the left margin", "start with a rule id and a colon, such as sky/floor:"
		return nil, Faults{whole}
	}
	return entries(file, doc.Content[0], "")
}

// placed takes the line apart from what the YAML reader says; 0: it names none.
func placed(err error) (line int, says string) {
	says = strings.TrimPrefix(err.Error(), "yaml: ")
	number, rest, found := strings.Cut(strings.TrimPrefix(says, "line "), ": ")
	if line, bad := strconv.Atoi(number); found && bad == nil {
		return line, rest
	}
	return 0, says
}

// afterEnd is the line on which a file goes on behind its first end mark, remarks apart, as two files put together do; 0: it does not.
func afterEnd(data []byte) int {
	ended := false
	for i, line := range strings.Split(string(data), "\n") {
		switch line = strings.TrimRight(line, " \t\r"); {
		case line == "...":
			ended = true
		case ended && line != "" && !strings.HasPrefix(strings.TrimLeft(line, " \t"), "#"):
			return i + 1
		}
	}
	return 0
}

// document reads the first document of a file, and the line on which a second one begins; 0: there is none.
func document(data []byte) (doc yaml.Node, second int, err error) {
	if second = afterEnd(data); second > 0 {
		return doc, second, nil
	}
	var more yaml.Node
	all := yaml.NewDecoder(bytes.NewReader(data))
	if err = all.Decode(&doc); err == nil {
		if err = all.Decode(&more); err == nil {
			return doc, more.Line, nil
		}
	}
	if errors.Is(err, io.EOF) { // no first one is nothing but remarks
		err = nil
	}
	return doc, 0, err
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

// decimal reads a number as people do: 045 is no octal 37. What is none so (0x20, 1_0) is text, which no number field takes.
func decimal(value any, written string) any {
	if _, isNumber := finite(value); !isNumber {
		return value
	}
	v, err := strconv.ParseFloat(written, 64)
	if err != nil || strings.Trim(written, "0123456789.+-eE") != "" {
		return written
	}
	return v
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
		return decimal(value, v.Value), nil, nil
	case yaml.SequenceNode:
		return "a list", nil, nil
	case yaml.AliasNode, yaml.DocumentNode:
	}
	return "an alias", nil, nil
}
