package store

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"sync"

	"github.com/klauspost/compress/s2"
)

// How a body is kept, by the column packing. A number never changes its meaning: old rows read for ever.
const (
	plain   = 0 // as it is
	packed1 = 1 // an S2 block against dictionary 1 (github.com/klauspost/compress/s2, whose README draws the format)
)

// dictionary1 is what bodies commonly hold, ten entries of the scripted nights: the place of the first repeat, as s2.Dict.Bytes writes it, and
// the text. What was packed with it needs it: not a byte of it may change, and a better one is another packing.
//
//go:embed dictionary-1
var dictionary1 []byte

var s2Dictionary1 = sync.OnceValue(func() *s2.Dict { return s2.NewDict(dictionary1) })

// mostBody bounds what a damaged length may ask memory for, bytes: no body that room record takes is longer.
const mostBody = 64 << 20

// Packer packs bodies, one after the other, in memory of its own. Askers do not pack for themselves: it takes 64 KiB of stack, which each of their
// goroutines would have to grow.
type Packer struct{ scratch []byte }

// mostScratch is kept of it, bytes: above an ordinary body, below a long rehearsal's. Choice.
const mostScratch = 1 << 18

// Pack works out how a row's body will be kept, once. A commit does it for the rows that come without. Nobody may change the body from then on, nor use the
// row meanwhile.
func (p *Packer) Pack(r *Row) {
	if r.kept != nil {
		return
	}
	if longer := r.pack(p.scratch); cap(longer) <= mostScratch {
		p.scratch = longer
	}
}

// all packs several.
func (p *Packer) all(rows []Row) {
	for i := range rows {
		p.Pack(&rows[i])
	}
}

// packers pack what of a commit is not packed yet.
type packers [2]Packer // No source: a service has two cores at least, and one is the asker's

const packBeside = 8 // from how many rows that are not packed yet the second is worth its goroutine. Choice.

func (p *packers) pack(rows []Row) {
	unpacked := 0
	for i := range rows {
		if rows[i].kept == nil {
			unpacked++
		}
	}
	if unpacked < packBeside {
		p[0].all(rows)
		return
	}
	half := len(rows) - unpacked/2 // those packed ahead are the first
	var beside sync.WaitGroup
	beside.Go(func() { p[1].all(rows[:half]) })
	p[0].all(rows[half:])
	beside.Wait()
}

// pack works out how the body will be kept. It may write over scratch, and returns it, or a longer one, for the next.
func (r *Row) pack(scratch []byte) []byte {
	r.kept, r.packing = notNil(r.Body), plain
	if longest := s2.MaxEncodedLen(len(r.Body)); cap(scratch) < longest {
		scratch = make([]byte, longest)
	}
	if packed := s2Dictionary1().Encode(scratch[:0], r.Body); len(packed) < len(r.Body) {
		r.kept, r.packing = bytes.Clone(packed), packed1
	}
	return scratch
}

// unpack gives a body back from how it is kept.
func unpack(kept []byte, packing int64) ([]byte, error) {
	switch packing {
	case plain:
		return kept, nil
	case packed1:
		if n, err := s2.DecodedLen(kept); err != nil || n > mostBody {
			return nil, fmt.Errorf("%w: a packed body of %d bytes that says it has %d unpacked, at most %d are", ErrDamaged, len(kept), n, mostBody)
		}
		body, err := s2Dictionary1().Decode(nil, kept)
		if err != nil {
			err = errors.Join(ErrDamaged, fmt.Errorf("unpacking a body: %w", err))
		}
		return body, err
	}
	return nil, fmt.Errorf("%w: a body of packing %d, which no program wrote in a file of version %d", ErrDamaged, packing, Version)
}
