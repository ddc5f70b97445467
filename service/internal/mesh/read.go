package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
)

// The binary form, little-endian: 80 bytes of anything, the number of facets as uint32, then of each 12 bytes of normal, three corners
// of three float32, 2 bytes of anything.
const (
	headBytes   = 84
	facetBytes  = 50
	normalBytes = 12
	cornerBytes = 12
)

// Read reads a mesh. The two forms are told apart by size, since binary files may begin with the text form's first word: a file of
// exactly as many bytes as the number of facets in it asks for is binary.
func Read(content []byte) (*Mesh, error) {
	if len(content) > LargestFile {
		return nil, nowhere("export it coarser", "%d bytes, want at most %d", len(content), LargestFile)
	}
	var named uint32
	if len(content) >= headBytes {
		if named = binary.LittleEndian.Uint32(content[headBytes-4:]); int64(len(content)) == wholeBytes(named) {
			return readBinary(content[headBytes:], named)
		}
	}
	if isText(content) {
		return readText(content)
	}
	return nil, wrongSize(int64(len(content)), named)
}

func wholeBytes(facets uint32) int64 { return headBytes + facetBytes*int64(facets) }

// isText tells whether a file begins as the text form does: the word solid, and on the same line nothing that is no text.
func isText(content []byte) bool {
	line, _, _ := bytes.Cut(bytes.TrimLeft(content[:min(len(content), 1024)], " \t\r\n"), []byte("\n"))
	if len(line) < 5 || !bytes.EqualFold(line[:5], []byte("solid")) {
		return false
	}
	return !bytes.ContainsFunc(line, func(r rune) bool { return r < ' ' && r != '\t' && r != '\r' })
}

// wrongSize says what a binary file of the wrong size lacks or has too many.
func wrongSize(size int64, named uint32) Fault {
	whole := wholeBytes(named)
	switch {
	case size < headBytes:
		return nowhere(again, "%d bytes: neither a text that begins with solid nor the %d bytes that a binary file begins with", size, headBytes)
	case named > MostFacets:
		return Fault{Byte: headBytes - 4, Remedy: again, What: fmt.Sprintf("%d facets named in %d bytes: no STL, or damaged", named, size)}
	case size < whole:
		at := (size - headBytes) / facetBytes
		return Fault{
			Facet: int(at) + 1, Byte: headBytes + at*facetBytes, Remedy: again,
			What: fmt.Sprintf("cut short: %d bytes, where its %d facets take %d", size, named, whole),
		}
	}
	return Fault{Byte: whole, Remedy: again, What: fmt.Sprintf("%d bytes behind the last of its %d facets: damaged, or the number is wrong", size-whole, named)}
}

func readBinary(body []byte, named uint32) (*Mesh, error) {
	if named > MostFacets {
		return nil, tooMany(int(named))
	}
	b := newBuilder(int(named))
	for i := range int(named) {
		var f [3]Corner
		for j := range f {
			at := i*facetBytes + normalBytes + j*cornerBytes
			v := func(k int) float64 {
				return float64(math.Float32frombits(binary.LittleEndian.Uint32(body[at+4*k:])))
			}
			f[j] = Corner{X: v(0), Y: v(1), Z: v(2)}
			if c := f[j]; !inRange(c.X) || !inRange(c.Y) || !inRange(c.Z) {
				return nil, Fault{
					Facet: i + 1, Byte: int64(headBytes + at), Remedy: again,
					What: fmt.Sprintf("a corner at (%g, %g, %g), want numbers within ±%g", c.X, c.Y, c.Z, float64(farthest)),
				}
			}
		}
		b.add(f)
	}
	return b.done()
}

func tooMany(n int) Fault {
	return nowhere("export it coarser", "%d facets, want 1 to %d", n, MostFacets)
}
