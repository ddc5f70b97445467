package rig

import (
	"bytes"
	"encoding/binary"
	"unicode/utf16"
	"unicode/utf8"
)

// plainText returns a file in UTF-8 without a mark of its encoding: editors of some systems save text as UTF-16, whose two byte orders its first two bytes
// tell (The Unicode Standard 15.0, section 23.8). What is no such text comes out with a byte that no text holds, and is refused for it.
func plainText(content []byte) []byte {
	order := binary.ByteOrder(binary.LittleEndian)
	switch {
	case bytes.HasPrefix(content, []byte{0xef, 0xbb, 0xbf}):
		return content[3:]
	case bytes.HasPrefix(content, []byte{0xfe, 0xff}):
		order = binary.BigEndian
	case !bytes.HasPrefix(content, []byte{0xff, 0xfe}):
		return content
	}
	units := make([]uint16, 0, len(content)/2)
	for at := 2; at+1 < len(content); at += 2 {
		units = append(units, order.Uint16(content[at:]))
	}
	out := make([]byte, 0, len(content)/2)
	for _, r := range utf16.Decode(units) {
		if r == utf8.RuneError { // half of a pair
			out = append(out, noText)
			continue
		}
		out = utf8.AppendRune(out, r)
	}
	if len(content)%2 != 0 { // cut within a character
		out = append(out, noText)
	}
	return out
}

// noText is a byte that UTF-8 has nowhere (RFC 3629, section 3).
const noText = 0xff

// breaks are the ends of lines that YAML 1.1 knows (its section 4.2), the longest first: a place in a file counts lines by them.
func breaks() [][]byte {
	return [][]byte{[]byte("\r\n"), []byte("\n"), []byte("\r"), []byte("\u0085"), []byte("\u2028"), []byte("\u2029")}
}

// linesOf cuts a text into lines, each with its end.
func linesOf(text []byte) (out [][]byte) {
	from := 0
	for at := 0; at < len(text); {
		n := 0
		for _, b := range breaks() {
			if bytes.HasPrefix(text[at:], b) {
				n = len(b)
				break
			}
		}
		if n == 0 {
			at++
			continue
		}
		at += n
		out = append(out, text[from:at])
		from = at
	}
	return append(out, text[from:])
}
