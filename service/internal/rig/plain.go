package rig

import "bytes"

// Plain files. Nearly every rig file is written in a small part of YAML: blocks of keys indented by spaces, lists in brackets or by dashes, values on
// one line, comments. That part is read here straight into our nodes; the library makes tokens, events and nodes of its own of it first, which was
// a tenth of the processor time of a start with 64 rigs. Whatever is not plainly of that part, and whatever is a fault, is left to the library
// (readTree): what is read here is read by it to the same nodes, on the same lines and columns (TestPlainIsWhatTheLibraryReads, FuzzPlain).
//
// The part: printable ASCII. Keys are letters, digits and _ / . -, told once in a block. Values begin with a letter or digit (a sign or point before it
// is as well), and hold no colon and no #, or stand in quotes in which nothing is escaped. No value is left empty, and none is a word of YAML's for
// nothing.

// plainFile is the state of reading a plain file.
type plainFile struct {
	file string
	rest []byte // what follows the current line
	text []byte // the current line without its end, without the comment and without the spaces before either; empty after the last line
	line int    // of text, from 1
	at   int    // how many columns of text are its indentation, dashes that were taken included
	room []node // for nodes to come
}

// deepestPlain bounds how deep a plain file nests: what nests deeper is told by the library's reader, by its own count of depth.
const deepestPlain = deepestFile / 2

// readPlain reads a plain file; nil: it is none, or has a fault.
func readPlain(file string, content []byte) *node {
	for _, c := range content {
		if (c < ' ' || c > '~') && c != '\n' {
			return nil
		}
	}
	p := &plainFile{file: file, rest: content}
	if !p.next() || p.at != 0 {
		return nil
	}
	n := p.block(0)
	if len(p.text) > 0 { // something is left that belongs to nothing
		return nil
	}
	return n
}

// next goes to the next line that holds anything but a comment; false: there is none.
func (p *plainFile) next() bool {
	for len(p.rest) > 0 {
		line, rest, _ := bytes.Cut(p.rest, []byte("\n"))
		p.rest = rest
		p.line++
		if p.text = uncommented(line); len(p.text) > 0 {
			p.at = len(p.text) - len(bytes.TrimLeft(p.text, " "))
			return true
		}
	}
	p.text, p.at = nil, 0
	return false
}

// uncommented is a line without its comment, which a # begins at its start or after a space, outside of quotes. A quote that does not open a value is left
// to scalar, which takes none.
func uncommented(line []byte) []byte {
	quote := byte(0)
	for i, c := range line {
		switch {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case (c == '"' || c == '\'') && i > 0 && line[i-1] == ' ':
			quote = c
		case c == '#' && (i == 0 || line[i-1] == ' '):
			line = line[:i]
			return bytes.TrimRight(line, " ")
		}
	}
	return bytes.TrimRight(line, " ")
}

// new makes a node that stands at a column of the current line, from 0.
func (p *plainFile) new(column int, kind nodeKind) *node {
	if len(p.room) == cap(p.room) {
		p.room = make([]node, 0, 64)
	}
	p.room = append(p.room, node{file: p.file, line: p.line, column: column + 1, kind: kind})
	return &p.room[len(p.room)-1]
}

// block reads the block of keys that begins at the current line's indentation, and stands after it.
func (p *plainFile) block(depth int) *node {
	if depth > deepestPlain {
		return nil
	}
	n, indent := p.new(p.at, mapping), p.at
	for len(p.text) > 0 && p.at == indent {
		key, value := p.key()
		if key == nil || n.find(key.text) != nil {
			return nil
		}
		e := entry{key: key.text, place: key}
		if value < 0 {
			e.value = p.below(indent, depth+1)
		} else {
			e.value = p.value(p.text[value:], value, depth+1)
			p.next()
		}
		if e.value == nil {
			return nil
		}
		n.entries = append(n.entries, e)
	}
	if p.at > indent { // it belongs to a value of one line
		return nil
	}
	return n
}

// below reads what stands on the lines below a key at this indentation.
func (p *plainFile) below(indent, depth int) *node {
	switch {
	case !p.next() || p.at < indent:
		return nil
	case bytes.HasPrefix(p.text[p.at:], []byte("- ")):
		return p.dashes(depth)
	case p.at == indent:
		return nil
	}
	return p.block(depth)
}

// dashes reads the list by dashes that begins at the current line.
func (p *plainFile) dashes(depth int) *node {
	if depth > deepestPlain {
		return nil
	}
	n, indent := p.new(p.at, list), p.at
	for len(p.text) > 0 && p.at == indent && bytes.HasPrefix(p.text[p.at:], []byte("- ")) {
		p.at++
		for p.text[p.at] == ' ' { // the line does not end with a space
			p.at++
		}
		var item *node
		if key, _ := p.key(); key != nil {
			item = p.block(depth + 1) // its other keys stand below this one
		} else {
			item = p.value(p.text[p.at:], p.at, depth+1)
			p.next()
		}
		if item == nil {
			return nil
		}
		n.items = append(n.items, item)
	}
	if p.at > indent {
		return nil
	}
	return n
}

// longestPlainKey bounds a key, bytes: what is longer is refused by the library's reader.
const longestPlainKey = 60

// key reads the key at the current line's indentation, and where its value begins; -1: on the lines below. nil: there is no plain key.
func (p *plainFile) key() (key *node, value int) {
	word := p.text[p.at:]
	end := bytes.IndexByte(word, ':')
	if end <= 0 || end > longestPlainKey || !begins(word) || word[0] == '-' {
		return nil, 0
	}
	for _, c := range word[:end] {
		if !alphanumeric(c) && c != '_' && c != '/' && c != '.' && c != '-' {
			return nil, 0
		}
	}
	text := string(word[:end])
	if isNothing(text) {
		return nil, 0
	}
	value = p.at + end + 1
	switch {
	case value == len(p.text):
		value = -1
	case p.text[value] != ' ':
		return nil, 0
	default:
		for p.text[value] == ' ' {
			value++
		}
	}
	key = p.new(p.at, scalar)
	key.text = text
	return key, value
}

// value reads a value of one line, which begins at this column. nil: it is not plain.
func (p *plainFile) value(text []byte, column, depth int) *node {
	if text[0] == '[' {
		n, rest := p.brackets(text, column, depth)
		if len(rest) > 0 {
			return nil
		}
		return n
	}
	return p.scalar(text, column)
}

// brackets reads the list in brackets with which a text begins, and what follows it.
func (p *plainFile) brackets(text []byte, column, depth int) (n *node, rest []byte) {
	if depth > deepestPlain {
		return nil, text
	}
	n = p.new(column, list)
	rest = text[1:]
	for {
		rest = bytes.TrimLeft(rest, " ")
		at := column + len(text) - len(rest)
		var item *node
		if len(rest) > 0 && rest[0] == '[' {
			item, rest = p.brackets(rest, at, depth+1)
			rest = bytes.TrimLeft(rest, " ")
		} else if end := bytes.IndexAny(rest, ",]"); end > 0 && !bytes.ContainsAny(rest[:end], "[{}?") {
			item, rest = p.scalar(bytes.TrimRight(rest[:end], " "), at), rest[end:]
		}
		if item == nil || item.quoted || len(rest) == 0 {
			return nil, text
		}
		n.items = append(n.items, item)
		switch rest[0] {
		case ']':
			return n, rest[1:]
		case ',':
			rest = rest[1:]
		default:
			return nil, text
		}
	}
}

// scalar reads a single value.
func (p *plainFile) scalar(text []byte, column int) *node {
	quoted := text[0] == '"' || text[0] == '\''
	switch {
	case quoted:
		end := len(text) - 1
		if end == 0 || text[end] != text[0] || bytes.ContainsAny(text[1:end], `\"'`) {
			return nil
		}
		text = text[1:end]
	case !begins(text) || bytes.ContainsAny(text, ":#") || isNothing(string(text)):
		return nil
	}
	n := p.new(column, scalar)
	n.text, n.quoted = string(text), quoted
	return n
}

// begins tells whether a text begins as a plain value may, or a key: with a letter or digit, before which a sign or point may stand.
func begins(text []byte) bool {
	for i, c := range text {
		switch {
		case alphanumeric(c):
			return true
		case i > 1 || c != '-' && c != '+' && c != '.':
			return false
		}
	}
	return false
}

func alphanumeric(c byte) bool {
	return '0' <= c && c <= '9' || 'A' <= c && c <= 'Z' || 'a' <= c && c <= 'z'
}

// isNothing tells YAML's words for nothing (YAML 1.1, type null) that begin with a letter.
func isNothing(word string) bool { return word == "null" || word == "Null" || word == "NULL" }
