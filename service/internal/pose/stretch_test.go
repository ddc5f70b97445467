package pose

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// stopped holds what a slew leaves that may have been broken off: its target, where belief or a count shows the tube, and the way between.
func stopped(t *testing.T, shown, target rig.Axes, more ...question.Candidate) *night {
	n := homed(t)
	n.m.wait(time.Minute)
	n.look()
	narrow := rig.DegAxes(0.3, 0.3)
	n.s.Anchored = append([]question.Candidate{{Axes: target, Sigma: narrow, Because: "where the permitted motion should have ended"}, {Axes: shown, Sigma: narrow},
		over(question.Candidate{Sigma: narrow}, smaller(rig.Axes{}, target), larger(rig.Axes{}, target))}, more...)
	n.s.Pose.State, n.s.Doubt = question.Candidates, "put there by the test"
	n.s.Pose.Candidates = append([]question.Candidate(nil), n.s.Anchored...)
	return n
}

// pictureAt is a good solve, off where the tube is by so many degrees of each axis.
func (n *night) pictureAt(at rig.Axes, a1, a2 float64) question.JudgedSolve {
	j := n.solved(0, 0)
	j.Solved = at.Add(rig.DegAxes(a1, a2))
	j.OffsetSky = direction(n.w.Rig, j.Pose).Angle(direction(n.w.Rig, j.Solved))
	j.Against = j.OffsetSky > firstOffset
	return j
}

// A slew was stopped on its way: the stretch of the way contradicts no place on it, so one picture that lies at the place shown settles on that.
// Wherever on the way the tube is, what is then held covers it: a first pointing error may bring a picture from anywhere near to that place.
func TestASolveSettlesOnThePlaceOnAStretch(t *testing.T) {
	shown, target := rig.DegAxes(-20, 15), rig.DegAxes(-60, 45)
	for _, truly := range []float64{0, -1.5, 1.5} { // on the way, off the place shown
		for _, off := range []float64{0, 0.02, 1, -1} {
			t.Run(fmt.Sprintf("truly %.1f, off %.2f", truly, off), func(t *testing.T) {
				n := stopped(t, shown, target)
				n.m.axes = shown.Add(rig.DegAxes(truly, -truly*0.75))
				n.take(Evidence(n.w, n.s, n.pictureAt(n.m.axes, off, -off)))
				require.Equal(t, question.Known, n.state(), n.said())
				n.honest()
				c := n.s.Pose.Candidates[0]
				require.Equal(t, shown, c.Axes)
				require.LessOrEqual(t, c.Sigma.A2, (firstOffset+unit.Deg(2.6))/3+0.1*unit.Degree)
			})
		}
	}
}

// Two places that differ, both within reach of a picture as well as each other, stay two though one stretch holds both; the picture is no
// evidence against them, so a second one like it takes nothing away.
func TestTwoPlacesOnAStretchStayTwo(t *testing.T) {
	shown, target := rig.DegAxes(-20, 15), rig.DegAxes(-60, 45)
	n := stopped(t, shown, target, question.Candidate{Axes: rig.DegAxes(-20.6, 15), Sigma: rig.DegAxes(0.3, 0.3)})
	n.m.axes = shown
	for range 3 {
		n.m.wait(time.Minute)
		n.take(Evidence(n.w, n.s, n.pictureAt(shown, -0.3, 0)))
		require.Equal(t, question.Candidates, n.state(), n.said())
		require.Len(t, n.s.Pose.Candidates, 4, n.said())
		require.Zero(t, n.s.Against)
		n.honest()
	}
}

// A place beside the way is not held by it, and one that is no narrower than a stretch is none that lies on it.
func TestWhatAStretchDoesNotHold(t *testing.T) {
	shown, target := rig.DegAxes(-20, 15), rig.DegAxes(-60, 45)
	for name, change := range map[string]func(n *night){
		"beside":   func(n *night) { n.s.Anchored[1].Axes = rig.DegAxes(-20, 60) },
		"as wide":  func(n *night) { n.s.Anchored[1].Sigma = n.s.Anchored[2].Sigma.Scale(0.6) },
		"far wide": func(n *night) { n.s.Anchored[1].Sigma.A2 = n.s.Anchored[2].Sigma.A2 * 2 },
	} {
		n := stopped(t, shown, target)
		require.True(t, begin(n.w, n.s).holds(2, 1))
		change(n)
		require.False(t, begin(n.w, n.s).holds(2, 1), name)
		require.False(t, begin(n.w, n.s).holds(1, 2), name)
	}
}
