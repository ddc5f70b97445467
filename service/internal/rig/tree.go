package rig

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Bounds on a file. Choice: a rig of a hundred hand-written parts has about 60 kB and nests 7 deep; what is larger is not one.
const (
	largestFile = 256 << 10
	deepestFile = 16
)

// nodeKind is what a value in a file is.
type nodeKind string

const (
	nothing nodeKind = "nothing"
	scalar  nodeKind = "a single value"
	list    nodeKind = "a list"
	mapping nodeKind = "a block of keys"
)

// node is one value of a file, with its place. It is what remains of YAML once everything that a rig file has no use for is
// refused: duplicate keys, anchors and aliases (the way to blow a file up), tags, several documents, keys that are not words.
type node struct {
	file         string
	line, column int
	kind         nodeKind
	text         string // scalar
	quoted       bool   // scalar: written as text, so never a number or a word of ours
	entries      []entry
	items        []*node
}

// entry is one key of a mapping and its value.
type entry struct {
	key   string
	place *node // of the key
	value *node
}

// find returns the value under a key; nil where there is none.
func (n *node) find(key string) *node {
	for _, e := range n.entries {
		if e.key == key {
			return e.value
		}
	}
	return nil
}

// says describes a value for a fault.
func (n *node) says() string {
	switch {
	case n.kind != scalar:
		return string(n.kind)
	case n.quoted:
		return "the text " + quote(n.text)
	}
	return quote(n.text)
}

// quote writes a piece of a file so that it stays one short line.
func quote(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return strconv.Quote(s)
}

// readTree reads the one document of a file.
func readTree(file string, content []byte, f *faults) *node {
	whole := &node{file: file, kind: nothing}
	if len(content) > largestFile {
		f.add(whole, "", fmt.Sprintf("a file of at most %d bytes", largestFile), fmt.Sprintf("%d bytes", len(content)), "meshes stay in files of their own")
		return nil
	}
	content = plainText(content)
	doc, err := decode(content)
	if err != nil {
		f.broken = true
		if tellTabs(file, content, lineOf(err), f) {
			return nil
		}
		if whole.line = lineOf(err); whole.line == 0 && tellUnwritten(file, content, f) {
			return nil
		}
		f.add(whole, "", "YAML", "what does not read as such: "+strings.TrimPrefix(err.Error(), "yaml: "), "look at this line and the one above it: indentation by spaces, a colon and a space after every key")
		return nil
	}
	b := builder{file, f}
	if doc == nil {
		f.add(whole, "", "keys and values", "an empty file", "start from the blank form")
		return nil
	}
	n := b.node(doc, "", 0)
	if n.kind != mapping {
		f.add(n, "", "a block of keys", n.says(), "start from the blank form")
		return nil
	}
	return n
}

// mostTabs is how many lines with tabs are told one by one: an editor that writes them does so on every line.
const mostTabs = 20

// tellTabs names the tabs that stand where YAML wants spaces, which the library calls a character that starts nothing: those
// that indent, else one on the line that the library names. It tells whether there is any.
func tellTabs(file string, content []byte, at int, f *faults) bool {
	told, line := 0, 0
	for text := range strings.Lines(string(content)) {
		line++
		body := strings.TrimLeft(text, " \t")
		indent := text[:len(text)-len(body)]
		blank := strings.TrimSpace(body) == "" || strings.HasPrefix(body, "#")
		if tab := strings.IndexByte(indent, '\t'); tab >= 0 && !blank && told < mostTabs {
			told++
			f.add(&node{file: file, line: line, column: tab + 1}, "", "spaces before a key", "a tab", "write spaces instead; other faults are found once the tabs are gone")
		}
		if tab := strings.IndexByte(text, '\t'); line == at && tab >= 0 && told == 0 {
			f.add(&node{file: file, line: line, column: tab + 1}, "", "spaces between words", "a tab", "write spaces instead; other faults are found once the tab is gone")
			return true
		}
	}
	return told > 0
}

// tellUnwritten names the first character that no text holds, which the library tells without its line: one that controls a terminal, or bytes that are
// no UTF-8.
func tellUnwritten(file string, content []byte, f *faults) bool {
	line := 0
	for text := range strings.Lines(string(content)) {
		line++
		at := strings.IndexFunc(text, func(r rune) bool {
			return unicode.IsControl(r) && !strings.ContainsRune("\t\n\r", r) || r == utf8.RuneError
		})
		if at >= 0 {
			f.add(&node{file: file, line: line, column: at + 1}, "", "text, in UTF-8", "a character that no text holds", "write the line anew; if all of the file is so, save it as plain text in UTF-8")
			return true
		}
	}
	return false
}

var errMore = errors.New("a second document in the same file")

// decode runs the YAML library. Aliases stay nodes and are never followed. The library is written to report bad input as
// errors and, like every parser of that age, has been seen to panic; such a panic is a fault of the file, not of the service.
func decode(content []byte) (doc *yaml.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			doc, err = nil, fmt.Errorf("%v", p)
		}
	}()
	d := yaml.NewDecoder(bytes.NewReader(content))
	var n yaml.Node
	if err := d.Decode(&n); errors.Is(err, io.EOF) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var more yaml.Node
	if err := d.Decode(&more); err == nil {
		return nil, fmt.Errorf("line %d: %w", more.Line, errMore)
	} else if !errors.Is(err, io.EOF) {
		return nil, err
	}
	if n.Kind == yaml.DocumentNode && len(n.Content) == 1 {
		return n.Content[0], nil
	}
	return nil, nil
}

var lineInText = regexp.MustCompile(`line (\d+)`)

// lineOf takes the line from an error of the library, which tells it in words alone; 0 where it tells none.
func lineOf(err error) int {
	m := lineInText.FindStringSubmatch(err.Error())
	if m == nil {
		return 0
	}
	line, _ := strconv.Atoi(m[1])
	return line
}

// builder turns the library's nodes into ours.
type builder struct {
	file string
	f    *faults
}

func (b builder) node(y *yaml.Node, key string, depth int) *node {
	n := &node{file: b.file, line: y.Line, column: y.Column, kind: nothing}
	if b.refuses(n, y, key, depth) {
		return n
	}
	switch y.Kind {
	case yaml.MappingNode:
		n.kind = mapping
		b.mapping(n, y, key, depth)
	case yaml.SequenceNode:
		n.kind = list
		for i, c := range y.Content {
			n.items = append(n.items, b.node(c, join(key, strconv.Itoa(i+1)), depth+1))
		}
	case yaml.ScalarNode:
		n.text, n.quoted = y.Value, y.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
		if n.quoted || y.ShortTag() != "!!null" {
			n.kind = scalar
		}
	}
	return n
}

// refuses tells whether a node is something that a rig file has no use for.
func (b builder) refuses(n *node, y *yaml.Node, key string, depth int) bool {
	before := len(b.f.all)
	defer func() { b.f.broken = b.f.broken || len(b.f.all) > before }()
	switch {
	case depth > deepestFile:
		b.f.add(n, key, fmt.Sprintf("values nested at most %d deep", deepestFile), "deeper ones", "flatten it")
	case y.Kind == yaml.AliasNode:
		b.f.add(n, key, "the value itself", "an alias, *"+y.Value, "write the value out; a class file holds what several rigs share")
	case y.Anchor != "":
		b.f.add(n, key, "a value without an anchor", "&"+y.Anchor, "take the anchor away and write each value out")
	case y.Style&yaml.TaggedStyle != 0:
		b.f.add(n, key, "a value without a tag", quote(y.Tag), "take the tag away")
	default:
		return false
	}
	return true
}

func (b builder) mapping(n *node, y *yaml.Node, key string, depth int) {
	for i := 0; i+1 < len(y.Content); i += 2 {
		k := b.node(y.Content[i], key, depth+1)
		if k.kind != scalar || !utf8.ValidString(k.text) || strings.ContainsAny(k.text, "\n\x00") || len(k.text) > 100 {
			b.f.add(k, key, "a key that is a word", k.says(), "write it as in the blank form")
			continue
		}
		path := join(key, k.text)
		if before := n.find(k.text); before != nil {
			b.f.add(k, path, "each key once", fmt.Sprintf("a second one, the first is on line %d", before.line), "take one of them away")
			continue
		}
		n.entries = append(n.entries, entry{k.text, k, b.node(y.Content[i+1], path, depth+1)})
	}
}

// join makes a dotted key.
func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// under lays one file's values under another's: blocks of keys are joined key by key, everything else of upper stands as it
// is, lists too. Neither is changed.
func under(upper, lower *node) *node {
	if upper == nil || lower == nil || upper.kind != mapping || lower.kind != mapping {
		if upper == nil {
			return lower
		}
		return upper
	}
	out := *upper
	out.entries = append([]entry(nil), upper.entries...)
	for i, e := range out.entries {
		out.entries[i].value = under(e.value, lower.find(e.key))
	}
	for _, e := range lower.entries {
		if upper.find(e.key) == nil {
			out.entries = append(out.entries, e)
		}
	}
	return &out
}
