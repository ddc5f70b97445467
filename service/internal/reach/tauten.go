package reach

import (
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
)

// tauten makes a way quicker as long as the map shows it to be clear: two stops become one between them, and each moves towards the line
// between its neighbours.
func (w *walk) tauten(stops []rig.Axes) []rig.Axes {
	poses := slices.Concat([]rig.Axes{w.from}, stops, []rig.Axes{w.to})
	for range mostTautened {
		better := false
		for i := 1; i+2 < len(poses); i++ {
			one := middle(poses[i], poses[i+1])
			if w.quicker(poses[i-1:i+3], one) {
				poses = slices.Replace(slices.Clone(poses), i, i+2, one)
				better = true
			}
		}
		for i := 1; i+1 < len(poses); i++ {
			for _, share := range []float64{1, 0.5, 0.25} {
				one := poses[i].Add(nearestOn(poses[i-1], poses[i+1], poses[i]).Sub(poses[i]).Scale(share))
				if one != poses[i] && w.quicker(poses[i-1:i+2], one) {
					poses[i], better = one, true
					break
				}
			}
		}
		if !better || w.spent() {
			break
		}
	}
	return poses[1 : len(poses)-1]
}

// mostTautened bounds the rounds of tauten. Choice: each round halves what is left to gain or more.
const mostTautened = 6

// quicker tells whether a way by one stop, between the ends of some poses, is clear and quicker than by those between.
func (w *walk) quicker(poses []rig.Axes, stop rig.Axes) bool {
	was := 0.0
	for i := 1; i < len(poses); i++ {
		was += w.effort(poses[i-1], poses[i])
	}
	a, b := poses[0], poses[len(poses)-1]
	return w.travel.Holds(stop) && w.effort(a, stop)+w.effort(stop, b) < was-0.01 && w.sweeps(a, stop) && w.sweeps(stop, b)
}

func middle(a, b rig.Axes) rig.Axes { return a.Add(b.Sub(a).Scale(0.5)) }

// nearestOn returns the pose of the line between a and b nearest to c.
func nearestOn(a, b, c rig.Axes) rig.Axes {
	d, e := b.Sub(a), c.Sub(a)
	dd := float64(d.A1*d.A1 + d.A2*d.A2)
	if dd == 0 {
		return a
	}
	return a.Add(d.Scale(min(max(float64(d.A1*e.A1+d.A2*e.A2)/dd, 0), 1)))
}
