package reach

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"sync"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Bounds of what a shelf keeps; beyond them it begins anew. Choice: a facility's rigs with a changed limit each, 130 kB a rig; and the
// part states of a night.
const (
	mostShelved = 256
	mostStates  = 64
)

// Shelf keeps the provers of rigs from one question to the next, with what they found to hold of all axis space. What a prover answers is
// the same whether it was kept or not, but for one made without a shelf, which finds as much less closely. Safe for concurrent use; the nil
// Shelf keeps nothing.
type Shelf struct {
	mu    sync.Mutex
	rigs  map[shelfMark]*shelved
	grids map[[sha256.Size]byte]*known // by what stands in the fullest scene: rigs that are built alike share one
	// scratch is the room in which all of its provers search: one of each rig would lie idle most of the time.
	scratch sync.Pool
}

// shelfMark is all that a rig's scenes depend on but the part states. Rigs are never changed, so that their parts are the same where they
// stand at the same place.
type shelfMark struct {
	parts         *rig.Part
	allowed       *[2]int
	counts        [2]int // of both
	chain         rig.Chain
	placing       unit.Length
	part, general unit.Length
}

// shelved is what is kept of one rig with one set of margins.
type shelved struct {
	mu     sync.Mutex
	known  *known
	states map[string]*Prover
}

// NewShelf returns an empty shelf.
func NewShelf() *Shelf {
	return &Shelf{rigs: map[shelfMark]*shelved{}, grids: map[[sha256.Size]byte]*known{}}
}

// Prover returns the prover of a rig with its parts as reported (see rig.Rig.Scene for these and the margins).
func (s *Shelf) Prover(r *rig.Rig, reported []rig.PartState, part, general unit.Length) *Prover {
	if s == nil {
		return New(r.Scene(reported, part, general))
	}
	kept := s.of(r, part, general)
	name := nameOf(reported)
	kept.mu.Lock()
	defer kept.mu.Unlock()
	if p := kept.states[name]; p != nil {
		return p
	}
	if kept.known == nil {
		kept.known = s.grid(r.Scene(nil, part, general))
	}
	if len(kept.states) >= mostStates {
		clear(kept.states)
	}
	p := New(r.Scene(reported, part, general))
	p.known, p.fullest, p.scratch = kept.known, len(reported) == 0, &s.scratch
	kept.states[name] = p
	return p
}

// of returns what is kept of a rig, which is nothing yet where it is new.
func (s *Shelf) of(r *rig.Rig, part, general unit.Length) *shelved {
	m := shelfMark{counts: [2]int{len(r.Parts), len(r.Allowed)}, chain: r.Chain, placing: r.Placing, part: part, general: general}
	if len(r.Parts) > 0 {
		m.parts = &r.Parts[0]
	}
	if len(r.Allowed) > 0 {
		m.allowed = &r.Allowed[0]
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	kept := s.rigs[m]
	if kept == nil {
		if len(s.rigs) >= mostShelved {
			clear(s.rigs)
			clear(s.grids)
		}
		kept = &shelved{states: map[string]*Prover{}}
		s.rigs[m] = kept
	}
	return kept
}

// grid returns what is known of a fullest scene, which is nothing yet where no rig has one like it. Scenes are told apart by every number in
// them. A hull is told by where its points lie in memory, so that it is like no other; the grid keeps them, and nothing else comes to lie there.
func (s *Shelf) grid(fullest *rig.Scene) *known {
	h := sha256.New()
	fmt.Fprintf(h, "%#v %#v %#v", *fullest.Chain, fullest.Bodies, fullest.Pairs)
	key := [sha256.Size]byte(h.Sum(nil))
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.grids[key] == nil {
		s.grids[key] = newKnown(New(fullest))
		s.grids[key].p.scratch = &s.scratch
	}
	return s.grids[key]
}

// nameOf tells reports of part states apart.
func nameOf(reported []rig.PartState) string {
	var b strings.Builder
	for _, p := range reported {
		fmt.Fprintf(&b, "%q %q %q", p.Part, p.Name, p.Unit)
		if p.Measure != nil {
			fmt.Fprintf(&b, " %v", *p.Measure)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
