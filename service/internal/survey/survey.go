// Package survey works out, when somebody asks, how far the axes of a rig may turn, and keeps the maps that it took from one time to the next.
//
// One map is worked out at a time, whoever asks: a map takes a processor for as long as it lasts, and questions about motions come first. It takes
// no lock that a question takes, shares nothing with what judges questions, and changes nothing. Who waits, or whose map is being worked out,
// may go at any time. Nothing here decides anything: an answer about a motion rests on its own proof.
//
// Angles are axis angles from the rig's zero, lengths millimetres.
package survey

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Of is what is to be surveyed.
type Of struct {
	Rig    *rig.Rig
	Limits limits.Set
	Gap    *unit.Length    // between all parts; nil: each pair's margins
	Band   unit.Angle      // width of the bands of axis 2, above 0
	Parts  []rig.PartState // states that parts are taken to be in; of others all count
	// Widened is by how much every pair's required gap is wider than the limits ask for: see question.Proof.
	Widened unit.Length
}

// Scene is the rig with its parts in the states named, of the others in all, and the gaps that its limits ask for.
func (o *Of) Scene() *rig.Scene {
	part, general := o.margins()
	return o.Rig.Scene(o.Parts, part, general)
}

func (o *Of) margins() (part, general unit.Length) {
	p, _ := o.Limits.Value("clear/path", "part_mm")
	g, _ := o.Limits.Value("clear/path", "general_mm")
	return unit.Length(p), unit.Length(g) + o.Widened
}

// Turn lets one work at a time. It is no mutex, for who waits may go.
type Turn chan struct{}

// NewTurn returns a turn that nobody has.
func NewTurn() Turn { return make(chan struct{}, 1) }

// Take waits until nobody else has the turn, or ctx ends; done gives it up.
func (t Turn) Take(ctx context.Context) (done func(), err error) {
	select {
	case t <- struct{}{}:
		return func() { <-t }, ctx.Err()
	case <-ctx.Done():
		return func() {}, context.Cause(ctx)
	}
}

// Surveyor surveys rigs. Safe for concurrent use.
type Surveyor struct {
	folder *Folder    // nil: none
	turn   Turn       // held while a map is worked out
	mu     sync.Mutex // of kept, held over no work
	kept   []made     // newest last
}

// made is a map that was worked out.
type made struct {
	mark   mark
	prover *reach.Prover
	raster *reach.Raster
	read   bool // from the folder: not proven by that
}

// mark is all that a map depends on.
type mark struct {
	digest        [32]byte // of the rig's revision
	part, general unit.Length
	gap           unit.Length // negative: the margins
	states        string      // of parts, in words
}

// mostKept bounds the maps that are kept, of some megabytes each. Choice: a rig with a few what-ifs side by side.
const mostKept = 4

// New returns a surveyor that keeps maps in memory, and in a folder where one is named.
func New(folder *Folder) *Surveyor { return &Surveyor{folder: folder, turn: NewTurn()} }

// Turn waits until no map is being worked out, or ctx ends; done gives the turn up.
func (s *Surveyor) Turn(ctx context.Context) (done func(), err error) { return s.turn.Take(ctx) }

// Survey surveys a rig about its home, telling very often, while the map is worked out, what share of it is done: who is told may take its time,
// so that others have theirs. It stops where ctx ends.
func (s *Surveyor) Survey(ctx context.Context, of Of, tell func(share float64)) (*reach.Survey, error) {
	done, err := s.Turn(ctx)
	defer done()
	if err != nil {
		return nil, err
	}
	m, ok := s.find(of.mark())
	if !ok {
		m = s.make(ctx, of, tell, true)
	}
	out := m.survey(ctx, of)
	if out != nil && m.read && !out.Proven() {
		s.folder.tell(fmt.Errorf("the kept map of %s is worked out anew: %w", of.Rig.ID, errDoubtful))
		s.forget(m.mark)
		m, ok = s.make(ctx, of, tell, false), false
		out = m.survey(ctx, of)
	}
	if out == nil {
		return nil, context.Cause(ctx)
	}
	if !ok {
		s.keep(m)
	}
	return out, nil
}

// survey says what follows from a map; nil where there is none, or ctx ended.
func (m *made) survey(ctx context.Context, of Of) *reach.Survey {
	if m.raster == nil {
		return nil
	}
	r := of.Rig
	return m.prover.SurveyOn(m.raster, reach.SurveyOf{
		About: r.Home, Spread: r.Homing.Sigma.Scale(3).Add(r.Motion.Overrun), Travel: r.Travel, Band: of.Band, Budget: reach.RasterBudget,
	}, func() bool { return ctx.Err() == nil })
}

func (o *Of) mark() mark {
	part, general := o.margins()
	m := mark{digest: o.Rig.Digest, part: part, general: general, gap: -1}
	for _, s := range o.Parts {
		m.states += s.String() + "\n"
	}
	if o.Gap != nil {
		m.gap = *o.Gap
	}
	return m
}

// make finds a map in the folder, where it may look there, or works it out and puts it there; one without a raster where ctx ended.
func (s *Surveyor) make(ctx context.Context, of Of, tell func(share float64), look bool) made {
	scene := of.Scene()
	out := made{mark: of.mark(), prover: reach.New(scene)}
	m := out.prover.NewMap()
	if of.Gap != nil {
		m = out.prover.NewMapOfGap(*of.Gap)
	}
	var key [32]byte
	if s.folder != nil {
		key = s.folder.key(out.mark, scene)
	}
	if s.folder != nil && look {
		out.raster = s.folder.read(key, m)
		out.read = out.raster != nil
	}
	if out.read {
		return out
	}
	out.raster = m.Raster(reach.RasterBudget, func(done, of int) bool {
		tell(float64(done) / float64(of))
		return ctx.Err() == nil
	})
	if s.folder != nil && out.raster != nil {
		s.folder.write(key, out.raster)
	}
	return out
}

func (s *Surveyor) find(m mark) (made, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.kept, func(k made) bool { return k.mark == m })
	if i < 0 {
		return made{}, false
	}
	found := s.kept[i]
	s.kept = append(slices.Delete(s.kept, i, i+1), found) // used last
	return found, true
}

func (s *Surveyor) forget(m mark) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kept = slices.DeleteFunc(s.kept, func(k made) bool { return k.mark == m })
}

func (s *Surveyor) keep(m made) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.kept) >= mostKept {
		s.kept = slices.Delete(s.kept, 0, 1)
	}
	s.kept = append(s.kept, m)
}
