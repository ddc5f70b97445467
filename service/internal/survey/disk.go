package survey

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// Folder is where maps are kept from one start of the service to the next. A file is
//
//	"keepclear map 1\n" · key, 32 bytes · the raster, packed · SHA-256 of all that, 32 bytes
//
// and is called by its key, which says of what revision, scene, gap and build it is a map. What is read is held against its sum, its key and a
// few proofs made anew, and what a survey then calls clear is proven anew before it is said; whatever is wrong with it, the map is worked out again
// and the file replaced. How much can be reached, and a picture of the map, rest on the file. A folder that cannot be read or written costs
// time alone.
type Folder struct {
	Path  string
	Build string           // what tells one build of the service from another: it proves otherwise, perhaps
	Fault func(what error) // is told what could not be read or kept; nil: nobody is
	lot   func(n int) int  // a test's, in [0, n); nil: one that nobody foresees
}

const (
	header = "keepclear map 1\n"
	// spots is how many cells are proven anew before a map is believed. Choice: a thirtieth of the work of a whole map.
	spots = 64
	// mostFiles bounds the folder, some tens of kilobytes each. Choice: a site's rigs with a few what-ifs each.
	mostFiles = 64
	// mostBytes bounds what is read of one file. Choice: hundreds of times the largest of the examples.
	mostBytes = 16 << 20
)

var errDoubtful = errors.New("it is not the map that was kept")

// key says of what it is a map: every number that it was worked out from.
func (f *Folder) key(m mark, s *rig.Scene) [32]byte {
	h := sha256.New()
	fmt.Fprintf(h, "%s%x %q %x %x %x\n", header, m.digest, f.Build, float64(m.part), float64(m.general), float64(m.gap))
	c := s.Chain
	fmt.Fprintf(h, "%x %x %x %x\n", c.Point1, c.Dir1, c.Point2, c.Dir2)
	for _, b := range s.Bodies {
		half, turn := b.Shape.HalfSizes()
		from, to := b.Shape.Axis()
		ra, rb := b.Shape.Radii()
		fmt.Fprintf(h, "%q %d %d %x %x %x %x %x %x %x %x %x\n", s.Names[b.Part], b.Link, b.Shape.Kind(), b.Shape.Centre(), from, to, b.Shape.Facing(), ra, rb, half, turn.M, b.Shape.Points())
	}
	for _, p := range s.Pairs {
		fmt.Fprintf(h, "%d %d %x\n", p.A, p.B, float64(p.Required))
	}
	return [32]byte(h.Sum(nil))
}

func (f *Folder) file(key [32]byte) string { return filepath.Join(f.Path, fmt.Sprintf("%x.map", key)) }

// read returns the map of a key, as a raster of m; nil where there is none that can be believed.
func (f *Folder) read(key [32]byte, m *reach.Map) *reach.Raster {
	info, err := os.Stat(f.file(key))
	if err == nil && (!info.Mode().IsRegular() || info.Size() > mostBytes) {
		err = errDoubtful
	}
	var b []byte
	if err == nil {
		b, err = os.ReadFile(f.file(key))
	}
	var out *reach.Raster
	if err == nil {
		out, err = f.believed(b, key, m)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		f.tell(fmt.Errorf("the kept map %s is worked out anew: %w", f.file(key), err))
	}
	return out
}

// believed takes the bytes of a file for a raster of m, or says why not.
func (f *Folder) believed(b []byte, key [32]byte, m *reach.Map) (*reach.Raster, error) {
	rest, ok := bytes.CutPrefix(b, append([]byte(header), key[:]...))
	if !ok || len(rest) < sha256.Size {
		return nil, errDoubtful
	}
	sum := sha256.Sum256(b[:len(b)-sha256.Size])
	if !bytes.Equal(sum[:], b[len(b)-sha256.Size:]) {
		return nil, errDoubtful
	}
	out, err := m.Unpack(rest[:len(rest)-sha256.Size])
	if err != nil {
		return nil, err
	}
	lot := f.lot
	if lot == nil {
		lot = rand.IntN
	}
	if !out.Agrees(spots, lot) {
		return nil, errDoubtful
	}
	return out, nil
}

// write keeps a map: under another name first, so that no reader sees half of it.
func (f *Folder) write(key [32]byte, r *reach.Raster) {
	packed := r.Pack()
	if packed == nil {
		return
	}
	b := append(append([]byte(header), key[:]...), packed...)
	sum := sha256.Sum256(b)
	err := os.MkdirAll(f.Path, 0o700)
	if err == nil {
		f.prune()
		err = os.WriteFile(f.file(key)+".new", append(b, sum[:]...), 0o600)
	}
	if err == nil {
		err = os.Rename(f.file(key)+".new", f.file(key))
	}
	if err != nil {
		f.tell(fmt.Errorf("the map is not kept: %w", err))
	}
}

// prune makes room for one more file, the oldest first.
func (f *Folder) prune() {
	files, err := filepath.Glob(filepath.Join(f.Path, "*.map"))
	if err != nil || len(files) < mostFiles {
		return
	}
	age := func(file string) int64 {
		if info, err := os.Stat(file); err == nil {
			return info.ModTime().UnixNano()
		}
		return 0
	}
	slices.SortFunc(files, func(a, b string) int { return cmp.Compare(age(a), age(b)) })
	for _, file := range files[:len(files)-mostFiles+1] {
		if err := os.Remove(file); err != nil {
			f.tell(fmt.Errorf("an old map stays: %w", err))
		}
	}
}

func (f *Folder) tell(what error) {
	if f.Fault != nil {
		f.Fault(what)
	}
}
