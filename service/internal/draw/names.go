package draw

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Names of parts, small beside the other words.
const (
	nameSize = 10.5
	nameWide = 5.9 // of a letter, at most
)

// names writes the names of the parts on them, in the order in which they were painted from the nearest, where there is room and nothing else
// is painted over the place.
func (q *panel) names(b *strings.Builder, v *View, s *seen) {
	x, y, r := q.markAt(v, s.eye)
	dir := v.rig.Chain.Direction(v.at)
	fx, fy := q.on(s.see(v.front(dir).Add(dir.Scale(q.reach / 35))))
	taken := [][4]float64{{x - r - 4, y - r - 4, x + r + 4, y + r + 4}, {x - 4, q.y, x + 4, q.y + q.tall}, {fx - 11, fy - 11, fx + 11, fy + 11}}
	done := map[int]bool{}
	for n := len(s.order) - 1; n >= 0; n-- {
		i := s.order[n]
		part := v.scene.Bodies[i].Part
		if done[part] || !s.painted[i] {
			continue
		}
		name := v.scene.Names[part]
		half := nameWide * float64(len([]rune(name))) / 2
		at, ok := q.placeFor(s, n, half, taken)
		if !ok && !s.concealed(n) {
			at, ok = q.placeBeside(s, n, half, taken)
		}
		if !ok {
			continue
		}
		x, y := q.on(at)
		taken, done[part] = append(taken, [4]float64{x - half, y - nameSize, x + half, y + nameSize}), true
		q.word(b, x, y+4, "middle", name, fmt.Sprintf(`font-size="%g"`, nameSize))
	}
}

// placeFor finds where the name of a body may stand: on the line from the middle of its outline toward its points, where nothing that is painted
// later lies, and no other word.
func (q *panel) placeFor(s *seen, nth int, half float64, taken [][4]float64) (dot, bool) {
	outline := s.outlines[s.order[nth]]
	low, high := span(outline)
	mid := dot{(low.x + high.x) / 2, (low.y + high.y) / 2}
	for _, part := range []float64{0, 0.3, 0.55, 0.75} {
		for n := 0; n < len(outline); n += max(1, len(outline)/12) {
			at := dot{mid.x + part*(outline[n].x-mid.x), mid.y + part*(outline[n].y-mid.y)}
			if q.free(at, half, taken) && !s.covered(at, half/q.scale, nth) {
				return at, true
			}
			if part == 0 {
				break
			}
		}
	}
	return dot{}, false
}

// placeBeside finds where the name of a body may stand beside its outline, where nothing at all is painted and no other word stands.
func (q *panel) placeBeside(s *seen, nth int, half float64, taken [][4]float64) (dot, bool) {
	const apart = 4
	outline := s.outlines[s.order[nth]]
	low, high := span(outline)
	for _, part := range []float64{0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95} {
		y := low.y + part*(high.y-low.y)
		left, right := across(outline, y)
		for _, side := range []struct{ edge, way float64 }{{right, 1}, {left, -1}} {
			at := dot{side.edge + side.way*(half+apart)/q.scale, y}
			if q.free(at, half, taken) && !s.covered(at, half/q.scale, -1) && !s.covered(dot{side.edge, y}, 0, nth) {
				return at, true
			}
		}
	}
	return dot{}, false
}

// across is from where to where an outline goes at a height.
func across(outline []dot, y float64) (left, right float64) {
	left, right = math.Inf(1), math.Inf(-1)
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		if (a.y-y)*(b.y-y) <= 0 && a.y != b.y {
			x := a.x + (b.x-a.x)*(y-a.y)/(b.y-a.y)
			left, right = min(left, x), max(right, x)
		}
	}
	return left, right
}

// concealed tells whether what is painted later hides as good as all of a body.
func (s *seen) concealed(nth int) bool {
	outline := s.outlines[s.order[nth]]
	low, high := span(outline)
	mid := dot{(low.x + high.x) / 2, (low.y + high.y) / 2}
	all, hidden := 0, 0
	for _, part := range []float64{0, 0.5, 0.95} {
		for _, d := range outline {
			if all++; s.covered(dot{mid.x + part*(d.x-mid.x), mid.y + part*(d.y-mid.y)}, 0, nth) {
				hidden++
			}
		}
	}
	return hidden*20 >= all*19
}

// behind writes beside the view's heading which parts are behind others, so that nobody looks for them.
func (q *panel) behind(b *strings.Builder, v *View, s *seen) {
	const room = 48 // letters
	seen, parts := map[int]bool{}, []int{}
	for n, i := range s.order {
		part := v.scene.Bodies[i].Part
		switch was, known := seen[part]; {
		case !s.painted[i]:
		case !known:
			seen[part], parts = !s.concealed(n), append(parts, part)
		default:
			seen[part] = was || !s.concealed(n)
		}
	}
	var names []string
	for _, part := range slices.Backward(parts) { // the nearest first
		if !seen[part] {
			names = append(names, v.scene.Names[part])
		}
	}
	words := "behind: " + strings.Join(names, ", ")
	for n := len(names) - 1; n > 0 && len([]rune(words)) > room; n-- {
		words = fmt.Sprintf("behind: %s and %d more", strings.Join(names[:n], ", "), len(names)-n)
	}
	if len(names) > 0 {
		q.word(b, q.x+q.wide, q.y-30, "end", words, fmt.Sprintf(`font-size="%g"`, nameSize))
	}
}

// free tells whether a name fits about a place: within the panel, and on no other word.
func (q *panel) free(at dot, half float64, taken [][4]float64) bool {
	x, y := q.on(at)
	if x-half < q.x+2 || x+half > q.x+q.wide-2 || y-nameSize < q.y+34 || y+nameSize > q.y+q.tall-24 {
		return false
	}
	for _, t := range taken {
		if x+half > t[0] && x-half < t[2] && y+nameSize > t[1] && y-nameSize < t[3] {
			return false
		}
	}
	return true
}

// covered tells whether a body that is painted later covers a place, or what lies so far to the left or right of it.
func (s *seen) covered(at dot, half float64, nth int) bool {
	for _, i := range s.order[nth+1:] {
		for _, x := range []float64{at.x - half, at.x, at.x + half} {
			if s.painted[i] && holds(s.outlines[i], dot{x, at.y}) {
				return true
			}
		}
	}
	return false
}
