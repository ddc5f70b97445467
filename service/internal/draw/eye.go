package draw

import (
	"cmp"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

type vec = frame.Vec[frame.Rig]

// eye is a direction from which a rig is looked at, from far away: across is to the right on the paper, up is up, toward comes out of it.
//
// Invariant: across × up = toward, so that nothing is mirrored.
type eye struct {
	from                     string
	across, up, toward       vec
	left, right, above, down string // what lies there, in words; above and down empty where it is height
}

// eyes are those of the picture, in its order.
func eyes() [3]eye {
	east, north, up := vec{X: 1}, vec{Y: 1}, vec{Z: 1}
	return [3]eye{
		{"the south", east, up, north.Scale(-1), "west", "east", "", ""},
		{"the east", north, up, east, "south", "north", "", ""},
		{"above", east, north, up, "west", "east", "north", "south"},
	}
}

// dot is a point on the paper before it has a scale, mm across and up.
type dot struct{ x, y float64 }

func (e *eye) see(p vec) dot { return dot{p.Dot(e.across), p.Dot(e.up)} }

// outlined is how many points make an outline at most. Choice: the chord of a circle 1 m across is then 0.3 mm off it.
const outlined = 120

// outline is the outline of a solid as seen, a convex polygon: its points farthest each way across the paper.
func (e *eye) outline(s solid.Shape) []dot {
	var out []dot
	for i := range outlined {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / outlined)
		d := e.see(s.Support(e.across.Scale(cos).Add(e.up.Scale(sin))))
		if len(out) == 0 || math.Hypot(d.x-out[len(out)-1].x, d.y-out[len(out)-1].y) > 1e-6 {
			out = append(out, d)
		}
	}
	return out
}

// holds tells whether a point lies within an outline, which goes round anticlockwise.
func holds(outline []dot, p dot) bool {
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		if (b.x-a.x)*(p.y-a.y)-(b.y-a.y)*(p.x-a.x) < 0 {
			return false
		}
	}
	return len(outline) > 2
}

// span is the least upright box about an outline.
func span(outline []dot) (low, high dot) {
	low, high = outline[0], outline[0]
	for _, d := range outline[1:] {
		low, high = dot{min(low.x, d.x), min(low.y, d.y)}, dot{max(high.x, d.x), max(high.y, d.y)}
	}
	return low, high
}

// seen is what an eye sees of the bodies of a view.
type seen struct {
	*eye
	outlines [][]dot
	behind   [][]int // by body: those that it may cover
	order    []int   // bodies from the farthest to the nearest
	painted  []bool  // by body: it is drawn, and hides what is behind it
}

func (v *View) seenBy(e *eye) *seen {
	s := &seen{eye: e, behind: make([][]int, len(v.placed)), painted: make([]bool, len(v.placed))}
	for _, b := range v.placed {
		s.outlines = append(s.outlines, e.outline(b))
	}
	for i := range v.placed {
		for j := range i {
			switch over := s.covers(v.placed[i], v.placed[j], s.outlines[i], s.outlines[j]); {
			case over > 0:
				s.behind[i] = append(s.behind[i], j)
			case over < 0:
				s.behind[j] = append(s.behind[j], i)
			}
		}
	}
	s.sort(v.placed)
	return s
}

// covers tells which of two bodies is in front: above 0 a, below 0 b, 0 where neither hides any of the other. Of two that are apart the
// plane between them decides, which is right however they lie; of two that are joined the face that is nearer to the eye where both are.
func (e *eye) covers(a, b solid.Shape, outA, outB []dot) float64 {
	lowA, highA := span(outA)
	lowB, highB := span(outB)
	if lowA.x > highB.x || lowB.x > highA.x || lowA.y > highB.y || lowB.y > highA.y {
		return 0
	}
	if g := solid.Distance(a, b); g.Lower > 0 {
		if along := g.Way.Dot(e.toward); math.Abs(along) > 1e-9 { // else side by side
			return along
		}
		return 0
	}
	at := shared(outA, outB)
	return e.face(a, at) - e.face(b, at)
}

// shared is a place on the paper within both outlines, about the middle of what they share.
func shared(a, b []dot) dot {
	var sum dot
	n := 0.0
	for _, pair := range [][2][]dot{{a, b}, {b, a}} {
		for _, d := range pair[0] {
			if holds(pair[1], d) {
				sum, n = dot{sum.x + d.x, sum.y + d.y}, n+1
			}
		}
	}
	if n == 0 { // crossing bars
		low, high := span(a)
		lowB, highB := span(b)
		return dot{(max(low.x, lowB.x) + min(high.x, highB.x)) / 2, (max(low.y, lowB.y) + min(high.y, highB.y)) / 2}
	}
	return dot{sum.x / n, sum.y / n}
}

// face is how near to the eye a solid comes at a place on the paper, by halving the ray on which it lies.
func (e *eye) face(s solid.Shape, at dot) float64 {
	near, far := s.SupportDistance(e.toward), -s.SupportDistance(e.toward.Scale(-1))
	foot := e.across.Scale(at.x).Add(e.up.Scale(at.y))
	front := foot.Add(e.toward.Scale(near + 1))
	for range 30 {
		mid := (near + far) / 2
		ray, err := solid.Capsule(front, foot.Add(e.toward.Scale(mid)), 0)
		if err == nil && solid.Distance(ray, s).Lower <= 0.01 {
			far = mid
		} else {
			near = mid
		}
	}
	return near
}

// sort puts the bodies in an order in which they can be painted. Where bodies cover one another in a ring, which only long ones that are
// woven do, the one that comes least near to the eye goes first: a picture, not a proof.
func (s *seen) sort(placed []solid.Shape) {
	waits := make([]int, len(placed))
	for i := range placed {
		waits[i] = i
	}
	slices.SortStableFunc(waits, func(i, j int) int {
		return cmp.Compare(placed[i].SupportDistance(s.toward), placed[j].SupportDistance(s.toward))
	})
	for len(waits) > 0 {
		next := max(0, slices.IndexFunc(waits, func(i int) bool {
			return !slices.ContainsFunc(s.behind[i], func(j int) bool { return slices.Contains(waits, j) })
		}))
		s.order = append(s.order, waits[next])
		waits = slices.Delete(waits, next, next+1)
	}
}

// hidden is the share of what turns, by points of its outlines, that a body of the ground hides.
func (s *seen) hidden(by int, bodies []rig.Body) float64 {
	all, hidden := 0, 0
	for i, b := range bodies {
		if b.Link == rig.Ground {
			continue
		}
		all += len(s.outlines[i])
		if !slices.Contains(s.behind[by], i) {
			continue
		}
		for _, d := range s.outlines[i] {
			if holds(s.outlines[by], d) {
				hidden++
			}
		}
	}
	return float64(hidden) / max(1, float64(all))
}
