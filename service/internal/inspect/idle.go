package inspect

import (
	"fmt"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// idle tells of the parts that nothing comes nearer than its margin at any pose of the two axes, within travel or not; false where it was
// stopped. Nobody measures the floor, so nothing is said of it.
func (l *look) idle() bool {
	whole := l.r.Scene(nil, l.PartMM, l.GeneralMM)
	half := rig.Axes{A1: unit.HalfTurn, A2: unit.HalfTurn}
	all := reach.Rectangle(half.Scale(-1), half, rig.Motion{})
	for i := range l.r.Parts {
		if !l.going() {
			return false
		}
		if p := &l.r.Parts[i]; p.Name == "floor" && p.From == "tape" {
			continue
		}
		of := *whole
		of.Pairs = nil
		for _, q := range whole.Pairs {
			if whole.Bodies[q.A].Part == i || whole.Bodies[q.B].Part == i {
				of.Pairs = append(of.Pairs, q)
			}
		}
		l.idlePart(i, &of, all)
	}
	return true
}

func (l *look) idlePart(i int, of *rig.Scene, all reach.Way) {
	name, key := l.r.Parts[i].Name, l.r.KeyOf(i)
	if len(of.Pairs) == 0 {
		l.inform(rig.Idle, key, fmt.Sprintf("%s is never judged: of all other parts it keeps its gap or always touches them", name), "nothing to do if that is so")
		return
	}
	if clear, _ := reach.New(of).Passes(all, rig.Axes{}, l.Budget/100); clear {
		l.inform(rig.Idle, key, fmt.Sprintf("at no pose of the axes does anything come within the margin of %s", name), "if you thought that it might be hit, measure its place again")
	}
}
