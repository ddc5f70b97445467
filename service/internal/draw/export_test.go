package draw

import (
	"math"
	"slices"
)

// Tops tells, of places on the paper of one of the three views, mm, which part is painted last there, and which comes nearest to the eye; a
// place where two are as near as the test can tell, or nothing is, is left out.
func (v *View) Tops(nth int, places [][2]float64) (painted, nearest []string) {
	e := eyes()[nth]
	s := v.seenBy(&e)
	name := func(body int) string { return v.scene.Names[v.scene.Bodies[body].Part] }
	for _, p := range places {
		best, second, at, last := math.Inf(-1), math.Inf(-1), -1, -1
		for i := range v.placed {
			if !holds(s.outlines[i], dot{p[0], p[1]}) {
				continue
			}
			if slices.Index(s.order, i) > slices.Index(s.order, last) {
				last = i
			}
			switch depth := e.face(v.placed[i], dot{p[0], p[1]}); {
			case depth > best:
				best, second, at = depth, best, i
			case depth > second:
				second = depth
			}
		}
		if at >= 0 && best-second > 2 {
			painted, nearest = append(painted, name(last)), append(nearest, name(at))
		}
	}
	return painted, nearest
}

// Eyes are, of each view, what is to the right, up and toward the eye.
func Eyes() [3][3]vec {
	var out [3][3]vec
	for i, e := range eyes() {
		out[i] = [3]vec{e.across, e.up, e.toward}
	}
	return out
}
