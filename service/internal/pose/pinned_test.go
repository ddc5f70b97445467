package pose

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A reckoned pose blurs with each motion. An accepted solve just where the settled pointing looks shows that nothing was lost, and the blur goes; how
// well the home is known stays. A solve farther off, one that was not accepted, and one beside a model that has not settled show nothing.
func TestSolvesSharpenWhatIsReckoned(t *testing.T) {
	r := newRig(rig.German, 48)
	r.Sources = []rig.Source{{Kind: rig.Reckoned, Sigma: rig.DegAxes(0.02, 0.02)}}
	mount, at := pointing.MountOf(r), rig.DegAxes(-40, 50)
	learnt := func(n int) pointing.Model {
		m := pointing.New(mount, rig.Axes{})
		for k := range n {
			p := at.Add(rig.DegAxes(float64(6*k)-30, float64(7*k%5)*8-16))
			m = m.Learnt(mount, p, rig.DegAxes(0.02, 0.02), direction(r, p))
		}
		return m
	}
	blurred := rig.DegAxes(1.25, 1.3)
	sigma := func(n int, off rig.Axes, verdict question.SolveVerdict) rig.Axes {
		w := newNight(t, r)
		w.home()
		w.s.Homing.Sigma = rig.DegAxes(1, 1)
		w.s.Anchored = []question.Candidate{{Axes: at, Sigma: blurred}}
		w.s.Pose = question.Pose{State: question.Known, Source: rig.Reckoned, Candidates: w.s.Anchored, At: w.m.at}
		w.s.Pointing = map[string]pointing.Model{"main": learnt(n)}
		s, _ := Evidence(w.w, w.s, question.JudgedSolve{
			RequestID: "q", At: w.m.at, Mid: w.m.at, Optics: "main", Verdict: verdict, Good: true, Agreed: true, Side: r.Kind.SideOf(at), Pose: at, Solved: at.Add(off),
		})
		require.Len(t, s.Pose.Candidates, 1)
		require.InDelta(t, s.Pose.Candidates[0].Sigma.A1.Deg(), s.Anchored[0].Sigma.A1.Deg(), 0.001)
		return s.Pose.Candidates[0].Sigma
	}
	sharp := sigma(17, rig.DegAxes(0, 0.05), question.Accepted)
	assert.InDelta(t, math.Hypot(1, 10.0/60), sharp.A2.Deg(), 0.001)
	assert.InDelta(t, math.Hypot(1, 10.0/60/math.Sin(50*math.Pi/180)), sharp.A1.Deg(), 0.01)
	assert.GreaterOrEqual(t, sharp.A2, unit.Degree, "the home is as well known as it was")
	assert.Equal(t, blurred, sigma(17, rig.DegAxes(0, 0.3), question.Accepted), "18′ off")
	assert.Equal(t, blurred, sigma(17, rig.DegAxes(0, 0.05), question.Held))
	assert.Equal(t, blurred, sigma(4, rig.DegAxes(0, 0.05), question.Accepted), "not settled")
}
