package inspect

import (
	"cmp"
	"fmt"
	"slices"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Budget of a look: cells of the map, and a hundredth of it for each part. Choice: six times what the example rigs take.
const Budget reach.Budget = 500_000

// Asked is what a look goes by.
type Asked struct {
	PartMM, GeneralMM unit.Length // limits of clear/path, as they bind the rig
	ResidualMM        unit.Length // limit of rig/proven
	FloorDeg          float64     // limit of sky/floor
	SharpDeg          float64     // limit of pose/sharp; 0: not looked at
	Budget            reach.Budget
}

// look is one look at a rig.
type look struct {
	Asked
	r     *rig.Rig
	going func() bool
	found []rig.Find
}

// Look looks at a rig, its parts in all of their states. Where going is false it stops, and says so as a find.
func Look(r *rig.Rig, a Asked, going func() bool) []rig.Find {
	l := &look{Asked: a, r: r, going: going}
	l.Budget = within(a.Budget, len(r.Scene(nil, 0, 0).Pairs))
	l.unchanging()
	l.blunt()
	l.rests()
	for _, part := range []func() bool{l.margins, l.travel, l.idle} {
		if !part() {
			l.tell(rig.NotKnown, "", "it was stopped before all was looked at", "check the file again, and wait")
			break
		}
	}
	return rig.Ordered(l.found)
}

// mostPairs bounds the work of a look: cells times the pairs that may have to be looked at in each. Choice: the crowded example has a
// hundred pairs, with which all of Budget fits; a file may have millions.
const mostPairs = 100_000_000

// within is a budget made less where a rig has many pairs.
func within(b reach.Budget, pairs int) reach.Budget {
	return min(b, reach.Budget(mostPairs/max(pairs, 1)))
}

// tell notes what a person should look at again.
func (l *look) tell(kind rig.FindKind, key, words, remedy string) {
	l.found = append(l.found, l.r.Find(kind, key, words, remedy))
}

// inform notes what a person should know.
func (l *look) inform(kind rig.FindKind, key, words, remedy string) {
	f := l.r.Find(kind, key, words, remedy)
	f.Info = true
	l.found = append(l.found, f)
}

// unchanging tells of the pairs that no motion changes.
func (l *look) unchanging() {
	settled := l.r.Settled()
	if len(settled) == 0 {
		return
	}
	near := slices.MinFunc(settled, func(a, b rig.Settled) int { return cmp.Compare(a.Gap, b.Gap) })
	of := fmt.Sprintf("%d pairs of parts keep", len(settled))
	if len(settled) == 1 {
		of = "one pair of parts keeps"
	}
	l.inform(rig.Unchanging, "tape", fmt.Sprintf("%s the same gap at every pose, the nearest %s and %s (%.1f mm)", of, near.A, near.B, float64(near.Gap)),
		"no question is judged by them, and none is told as the smallest gap")
}
