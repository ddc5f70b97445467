package gauge

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// Place is where a gap is measured: the axes as they read, and the two parts by name.
type Place struct {
	At    rig.Axes
	Parts [2]string
}

// spot is a place by indices.
type spot struct {
	at   rig.Axes
	a, b int // of parts; a's link is the lower
}

// placed are the solids of a rig at a pose, by part.
type placed [][]solid.Shape

// at places a reading of the rig with the axes so; of a part by another name in that reading nothing.
func (v *variant) at(axes rig.Axes) placed {
	all := v.scene.Place(axes.Add(v.turned))
	out := make(placed, len(v.named))
	for i, b := range v.scene.Bodies {
		if p := v.part[b.Part]; p >= 0 {
			out[p] = append(out[p], all[i])
		}
	}
	return out
}

// gap is how far the two parts of a spot are apart, mm: 0 or less where they touch, infinite where one of them is not there.
func (p placed) gap(k spot) float64 {
	least := math.Inf(1)
	for _, x := range p[k.a] {
		for _, y := range p[k.b] {
			least = min(least, solid.Distance(x, y).Lower)
		}
	}
	return least
}

// spotOf finds the parts of a place; false where the rig has no two such parts of different links, or they cannot be measured.
func (s *Subject) spotOf(p Place) (spot, bool) {
	out := spot{at: p.At, a: -1, b: -1}
	for i := range s.Rig.Parts {
		switch s.Rig.Parts[i].Name {
		case p.Parts[0]:
			out.a = i
		case p.Parts[1]:
			out.b = i
		}
	}
	if out.a < 0 || out.b < 0 {
		return out, false
	}
	if s.Rig.Parts[out.a].Link > s.Rig.Parts[out.b].Link {
		out.a, out.b = out.b, out.a
	}
	a, b := &s.Rig.Parts[out.a], &s.Rig.Parts[out.b]
	return out, a.Link != b.Link && len(a.States) == 0 && len(b.States) == 0
}

// Has tells whether a place is one where a gap can be measured.
func (s *Subject) Has(p Place) bool {
	_, ok := s.spotOf(p)
	return ok
}

// pairs are the pairs of parts whose gap some motion changes and that can be measured: neither has states.
func (s *Subject) pairs() []spot {
	scene := s.scene()
	seen := map[[2]int]bool{}
	var out []spot
	for _, p := range scene.Pairs {
		k := [2]int{scene.Bodies[p.A].Part, scene.Bodies[p.B].Part}
		if !seen[k] && len(s.Rig.Parts[k[0]].States) == 0 && len(s.Rig.Parts[k[1]].States) == 0 {
			seen[k] = true
			out = append(out, spot{a: k[0], b: k[1]})
		}
	}
	return out
}

// Steps by which a length is changed to see what it does to a gap. Choice: small beside any gap, large beside rounding.
var trials = map[string]float64{"mm": 2, "deg": 0.1}

// variant is one reading of the file: as it is, or with a length another.
type variant struct {
	turned rig.Axes // by how much the axes stand elsewhere than they read
	scene  *rig.Scene
	part   []int    // of its own parts, which part of the file as it is
	named  []string // the parts of the file as it is
	all    bool     // every gap may be another: the axes stand elsewhere
	parts  []bool   // of the file as it is, those that are otherwise
}

// read is the rig read anew, against the file as it is; nil where it does not load, or lacks a part.
func (s *Subject) read(r *rig.Rig, turned rig.Axes) *variant {
	if r == nil {
		return nil
	}
	v := &variant{turned: turned, scene: r.Scene(nil, 0, 0), parts: make([]bool, len(s.Rig.Parts)), all: turned != rig.Axes{} || r.Chain != s.Rig.Chain}
	found := 0
	for _, p := range r.Parts {
		i := slices.IndexFunc(s.Rig.Parts, func(o rig.Part) bool { return o.Name == p.Name && o.Link == p.Link })
		if i >= 0 {
			found++
		}
		v.part = append(v.part, i)
	}
	for _, p := range s.Rig.Parts {
		v.named = append(v.named, p.Name)
	}
	if found < len(s.Rig.Parts) {
		return nil
	}
	return v
}

// otherwise notes which parts of a reading are otherwise than those of the file as it is.
func (v *variant) otherwise(is *variant) {
	mine, theirs := v.zero(), is.zero()
	for i := range mine {
		v.parts[i] = !slices.Equal(mine[i], theirs[i])
	}
}

// zero are the solids by part as they are described.
func (v *variant) zero() placed {
	out := make(placed, len(v.named))
	for _, b := range v.scene.Bodies {
		if p := v.part[b.Part]; p >= 0 {
			out[p] = append(out[p], b.Shape)
		}
	}
	return out
}

// moves tells whether the gap of a spot may be another than the file has it.
func (v *variant) moves(k spot) bool { return v.all || v.parts[k.a] || v.parts[k.b] }

// variants are the file as it is, and read with each length a step more, or less where it does not load with more; nil where with neither.
type variants struct {
	is    *variant
	other []*variant
	step  []float64 // signed
}

// variants are asked for going between lengths, for each reads the file anew; ok is false where it was stopped.
func (s *Subject) variants(going func() bool) (out variants, ok bool) {
	out = variants{is: s.read(s.Rig, rig.Axes{})}
	for i := range s.Lengths {
		if !going() {
			return out, false
		}
		l := &s.Lengths[i]
		step := trials[l.Unit]
		v := s.read(l.with(step))
		if v == nil {
			step = -step
			v = s.read(l.with(step))
		}
		if v != nil {
			v.otherwise(out.is)
		}
		out.other, out.step = append(out.other, v), append(out.step, step)
	}
	return out, true
}

// slopes are what one more of each length (mm, or degree) does to the gaps at one pose, by spot and length.
func (v *variants) slopes(at rig.Axes, spots []spot) [][]float64 {
	is := v.is.at(at)
	gaps, out := make([]float64, len(spots)), make([][]float64, len(spots))
	for i, k := range spots {
		gaps[i], out[i] = is.gap(k), make([]float64, len(v.other))
	}
	for j, o := range v.other {
		if o == nil || !slices.ContainsFunc(spots, o.moves) {
			continue
		}
		stands := o.at(at)
		for i, k := range spots {
			if o.moves(k) {
				out[i][j] = (stands.gap(k) - gaps[i]) / v.step[j]
			}
		}
	}
	return out
}
