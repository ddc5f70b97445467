package pose

import (
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Two places point alike, one on each side. While nobody knows the camera's angle, a good picture settles neither, whatever it lies off them by, however
// sure they are and whichever is the likelier: where the axes truly are stays.
func TestPictureOffTwoPlacesThatPointAlike(t *testing.T) {
	alike := map[rig.Kind][2]rig.Axes{
		rig.German: {rig.DegAxes(70, -60), rig.DegAxes(-110, 60)},
		rig.Fork:   {rig.DegAxes(-20, 25), rig.DegAxes(160, 155)},
	}
	for kind, places := range alike {
		for _, sigma := range []float64{0.1, 1, 1.1, 1.3, 1.65, 2.5, 6} {
			for _, off := range []rig.Axes{rig.DegAxes(-0.6, 0.6), rig.DegAxes(0.6, 0.6), rig.DegAxes(1.5, -1.5), rig.DegAxes(0, 2.4)} {
				for likelier := range 2 {
					n := homedKind(t, kind)
					n.w.Rig.Optics = []rig.Optics{{Name: "main"}}
					n.m.axes = places[0]
					n.s.Anchored = nil
					for _, i := range []int{likelier, 1 - likelier} {
						n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: places[i], Sigma: rig.DegAxes(sigma, sigma), Because: "put there by the test"})
					}
					n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
					n.take(Evidence(n.w, n.s, n.solved(off.A1.Deg(), off.A2.Deg())))
					require.Len(t, n.s.Pose.Candidates, 2, "%s, ±%g°, a picture %s off: %v", kind, 3*sigma, off, n.s.Pose)
				}
			}
		}
	}
}

// Where the two places point several degrees apart, each within a first pointing error of its own, the picture that lies at one of them settles on it, on
// whichever side that is.
func TestPictureAtOneOfTwoPlacesOnTwoSides(t *testing.T) {
	for likelier := range 2 {
		for at := range 2 {
			places := [2]rig.Axes{rig.DegAxes(70, -60), rig.DegAxes(-106, 63)}
			n := homed(t)
			n.w.Rig.Optics = []rig.Optics{{Name: "main"}}
			n.m.axes = places[at]
			n.s.Anchored = nil
			for _, i := range []int{likelier, 1 - likelier} {
				n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: places[i], Sigma: rig.DegAxes(0.1, 0.1), Because: "put there by the test"})
			}
			n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
			n.take(Evidence(n.w, n.s, n.truePicture()))
			require.Equal(t, question.Known, n.state(), "likelier %d, at %d: %v", likelier, at, n.s.Pose)
			n.honest()
		}
	}
}
