package inspect

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Bounds of cramped. Choice: a gap that turning changes at all differs by more between poses 15° apart; what takes longer is seen in the map.
const (
	crampedStep  = 15.0 // ° between the poses looked at
	crampedPairs = 2000 // of shapes, of one pair of parts
)

// cramped tells of two parts that are too near at home and nowhere farther apart: no pose of the axes helps, and no uncertainty that were less.
// That the gap is the same everywhere, though no part is round about an axis, happens where what turns lies along a plane: a tube beside the head.
func (l *look) cramped() bool {
	scene := l.r.Scene(nil, l.PartMM, l.GeneralMM)
	of := map[[2]int][]rig.Pair{}
	for _, q := range scene.Pairs {
		k := [2]int{scene.Bodies[q.A].Part, scene.Bodies[q.B].Part}
		of[k] = append(of[k], q)
	}
	found := false
	for i := range l.r.Parts {
		for j := range l.r.Parts {
			if most, need, is := l.neverApart(scene, of[[2]int{i, j}]); is {
				found = true
				l.tell(rig.TooNear, l.r.KeyOf(j), fmt.Sprintf("%s and %s are nowhere farther apart than %.1f mm, at home or at any pose looked at, and their margins ask for %.1f", l.r.Parts[i].Name, l.r.Parts[j].Name, most, need),
					"every motion will be denied, since turning does not help: measure again what lies between them, or choose smaller margins")
			}
		}
	}
	return found
}

// neverApart tells whether two parts, by their pairs of shapes, are nowhere as far apart as they must be, and the most that they are.
func (l *look) neverApart(s *rig.Scene, pairs []rig.Pair) (most, need float64, is bool) {
	if len(pairs) == 0 || len(pairs) > crampedPairs {
		return 0, 0, false
	}
	need = float64(pairs[0].Required)
	if most = gapAt(s, pairs, l.r.Home); most >= need {
		return most, need, false
	}
	for a1 := -180.0; a1 < 180; a1 += crampedStep {
		for a2 := -180.0; a2 < 180; a2 += crampedStep {
			if most = max(most, gapAt(s, pairs, l.r.Home.Add(rig.Axes{A1: unit.Deg(a1), A2: unit.Deg(a2)}))); most >= need || !l.going() {
				return most, need, false
			}
		}
	}
	return most, need, true
}

// gapAt is the gap of two parts at a pose, mm, at most.
func gapAt(s *rig.Scene, pairs []rig.Pair, at rig.Axes) float64 {
	placed, least := s.Place(at), math.Inf(1)
	for _, q := range pairs {
		least = min(least, float64(solid.Distance(placed[q.A], placed[q.B]).Upper))
	}
	return least
}
