package reach

import (
	"encoding/binary"
	"errors"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// ErrPacked is the class of bytes that are no raster.
var ErrPacked = errors.New("these bytes are no map")

// Pack writes a raster as bytes: version, how many cells of the map were looked at, then runs of equal cells, each its standing and its length.
// What was not worked out to the end (Spent) has no such form: nil.
func (r *Raster) Pack() []byte {
	if r.Spent {
		return nil
	}
	out := binary.AppendUvarint([]byte{packed}, uint64(r.Work))
	for i := 0; i < len(r.cells); {
		n := i
		for n < len(r.cells) && r.cells[n] == r.cells[i] {
			n++
		}
		out = binary.AppendUvarint(append(out, byte(r.cells[i])), uint64(n-i))
		i = n
	}
	return out
}

// packed is the version of the form. Raise it whenever cells come to mean another thing.
const packed = 1

// Unpack reads a raster of this map as Pack wrote it. Nothing of it is proven by that: see Raster.Agrees.
func (m *Map) Unpack(b []byte) (*Raster, error) {
	if len(b) == 0 || b[0] != packed {
		return nil, ErrPacked
	}
	work, n := binary.Uvarint(b[1:])
	if n <= 0 || work > uint64(RasterBudget) {
		return nil, ErrPacked
	}
	b = b[1+n:]
	out := &Raster{m: m, cells: make([]Standing, 0, fineCells*fineCells), Work: int(work)}
	for len(b) > 0 {
		s := Standing(b[0])
		run, n := binary.Uvarint(b[1:])
		if n <= 0 || s > Barred || run == 0 || run > uint64(cap(out.cells)-len(out.cells)) {
			return nil, ErrPacked
		}
		b = b[1+n:]
		for range run {
			out.cells = append(out.cells, s)
		}
	}
	if len(out.cells) != cap(out.cells) {
		return nil, ErrPacked
	}
	return out, nil
}

// Agrees holds a number of cells of a raster, drawn by lot (a number in [0, n)), against what its map proves of them now: half of them where what
// is clear meets what is not, for there a raster of something else differs first.
func (r *Raster) Agrees(cells int, lot func(n int) int) bool {
	for n := range cells {
		i, j := lot(fineCells), lot(fineCells)
		if n%2 == 0 {
			i, j = r.border(i, j, n/2%2)
		}
		low := rig.Axes{A1: unit.Angle(i) * fineStep, A2: unit.Angle(j) * fineStep}
		in := rig.Axes{A1: fineStep / 2, A2: fineStep / 2} // its middle: the corners are those of four
		if r.m.Standing(low.Add(in), low.Add(in), RasterBudget) != r.at(i, j) {
			return false
		}
	}
	return true
}

// border goes on from a cell to where the standing changes, and returns the last cell before it, or the first one beyond; where it never does,
// nowhere.
func (r *Raster) border(i, j, beyond int) (int, int) {
	from := i*fineCells + j
	for n := range len(r.cells) {
		if at := (from + n) % len(r.cells); r.cells[at] != r.cells[(at+1)%len(r.cells)] {
			at = (at + beyond) % len(r.cells)
			return at / fineCells, at % fineCells
		}
	}
	return i, j
}
