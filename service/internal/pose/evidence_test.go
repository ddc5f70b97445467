package pose

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The camera looks two degrees beside the tube, as cameras do, and the axes have slipped. Where a solve puts the axes is as unsure as that,
// until accepted solves have shown it.
func TestWhereASolvePutsTheAxes(t *testing.T) {
	for _, dec := range []float64{-10, 40, 75} {
		for _, learnt := range []bool{false, true} {
			for _, beside := range []rig.Axes{rig.DegAxes(0, 2.2), rig.DegAxes(0, -2), rig.DegAxes(1.5, 1.5)} {
				t.Run(fmt.Sprintf("dec %.0f, %s beside, learnt %t", dec, beside, learnt), func(t *testing.T) {
					n := homed(t, withCount).tracked(-30, dec)
					if learnt {
						n.s.Learnt = map[rig.Side]question.Offsets{rig.West: {Axes: beside, Count: 1}}
						n.s.Pointing = looked(n, beside)
					}
					slipped := rig.DegAxes(-5, 9)
					n.m.axes, n.m.fault = n.m.axes.Add(slipped), n.m.fault.Add(slipped)
					n.m.wait(2 * time.Second)
					j := n.solved(0, 0)
					j.Solved = n.m.axes.Add(beside)
					j.OffsetSky = n.w.Rig.Chain.Direction(j.Pose).Angle(n.w.Rig.Chain.Direction(j.Solved))
					n.take(Evidence(n.w, n.s, j))
					require.Equal(t, question.Candidates, n.state())
					n.honest()
					require.Less(t, n.s.Pose.Candidates[1].Sigma.A2, 1.1*unit.Degree)
				})
			}
		}
	}
}

// looked is what a night of solves through optics beside the tube teaches, all of the side where the tube is.
func looked(n *night, beside rig.Axes) map[string]pointing.Model {
	r := n.w.Rig
	mount := pointing.Mount{Kind: r.Kind, Chain: &r.Chain}
	m := pointing.New(mount, rig.Axes{})
	for _, by := range []rig.Axes{{}, rig.DegAxes(30, 0), rig.DegAxes(-30, 0), rig.DegAxes(0, 20), rig.DegAxes(0, -10), rig.DegAxes(0, 0)} {
		at := n.m.axes.Add(by)
		m = m.Learnt(mount, at, rig.Axes{}, r.Chain.Direction(at.Add(beside)))
	}
	return map[string]pointing.Model{n.solved(0, 0).Optics: m}
}

// The polar axis stands a degree off and nobody knows; the tube is near the end of axis 1, on one of two sides. A right picture settles
// the side on which the tube is, however near, and never the other: there its position angle says nothing, its camera angle everything.
func TestCameraNearTheEndOfAxis1(t *testing.T) {
	const camera = 0.0
	for _, q := range []float64{0.2, 0.4, 0.7, 2, 5} {
		for a1 := -90.0; a1 < 90; a1 += 15 {
			for _, tilt := range []rig.Tilt{{East: unit.Deg(1.4)}, {East: unit.Deg(-1.4)}, {Up: unit.Deg(0.9)}, {Up: unit.Deg(-0.9)}} {
				for _, likelier := range []int{0, 1} {
					n := homed(t)
					zero := unit.Deg(camera)
					n.w.Rig.Optics = []rig.Optics{{Name: "main", CameraAngle: &zero}}
					places := []rig.Axes{rig.DegAxes(a1, -q), rig.DegAxes(a1-180, q)}
					n.m.axes = places[0]
					n.s.Anchored = nil
					for _, i := range []int{likelier, 1 - likelier} {
						n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: places[i], Sigma: rig.DegAxes(0.1, 0.1), Because: "put there by the test"})
					}
					n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
					j := n.pictured(tilt, unit.Deg(camera))
					n.take(Evidence(n.w, n.s, j))
					require.Len(t, n.s.Pose.Candidates, 1, "tube at %s, polar axis %s off, the solve shows a camera angle of %.0f°", n.m.axes, tiltWords(tilt), j.Camera.Deg())
					n.honest()
				}
			}
		}
	}
}

// A picture of which nothing but its position angle was kept settles no side, nor does one from a place so unsure that it may be either.
func TestCameraSettlesNothing(t *testing.T) {
	for _, what := range []string{"no camera angle kept", "axis 1 unknown"} {
		n := homed(t)
		zero := unit.Angle(0)
		n.w.Rig.Optics = []rig.Optics{{Name: "main", CameraAngle: &zero}}
		n.m.axes = rig.DegAxes(20, -5)
		n.s.Anchored = []question.Candidate{{Axes: n.m.axes, Sigma: rig.DegAxes(0.1, 0.1)}, {Axes: rig.DegAxes(-160, 5), Sigma: rig.DegAxes(0.1, 0.1)}}
		if what == "axis 1 unknown" {
			n.s.Anchored[1].Sigma.A1 = unit.Deg(60)
		}
		n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
		j := n.pictured(rig.Tilt{}, 0)
		if what == "no camera angle kept" {
			j.Camera = nil
		}
		n.take(Evidence(n.w, n.s, j))
		require.Len(t, n.s.Pose.Candidates, 2, what)
	}
}

// What a solve teaches of the camera is counted from the pose as then held: while both sides were open, or after the picture itself settled
// on the other, it teaches nothing, else the next picture would prove what was only supposed.
func TestCameraLearntFromAKnownSide(t *testing.T) {
	for _, before := range []bool{false, true} {
		for _, likelier := range []int{0, 1} {
			n := homed(t)
			n.w.Rig.Optics = []rig.Optics{{Name: "main"}}
			places := []rig.Axes{rig.DegAxes(20, -40), rig.DegAxes(-160, 40)}
			n.m.axes = places[0]
			if before { // solves on a known side came first: the next picture settles the side
				n.s.Anchored, n.s.Pose.State = []question.Candidate{{Axes: places[0], Sigma: rig.DegAxes(0.1, 0.1)}}, question.Known
				n.s.Pose.Candidates = append([]question.Candidate(nil), n.s.Anchored...)
				n.acceptedPicture()
				n.m.wait(time.Minute)
				n.acceptedPicture()
			}
			for range 2 {
				n.s.Anchored = nil
				for _, i := range []int{likelier, 1 - likelier} {
					n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: places[i], Sigma: rig.DegAxes(0.1, 0.1), Because: "put there by the test"})
				}
				n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
				for range 2 {
					n.acceptedPicture()
				}
				require.Equal(t, before, len(n.s.Pose.Candidates) == 1, "held: %v", n.s.Pose.Candidates)
			}
		}
	}
}

// acceptedPicture takes in a right solve that was accepted.
func (n *night) acceptedPicture() {
	n.t.Helper()
	j := n.pictured(rig.Tilt{}, unit.Deg(30))
	j.Verdict = question.Accepted
	n.take(Evidence(n.w, n.s, j))
	n.honest()
}

// pictured is a right solve through a camera that shows an angle with the tube on the first side, where the polar axis stands off by a
// tilt that nobody knows. Its camera angle is counted from the likeliest place held.
func (n *night) pictured(tilt rig.Tilt, camera unit.Angle) question.JudgedSolve {
	r := n.w.Rig
	truly := rig.NewChain(r.Kind, r.Site.Lat, tilt, r.Chain.Point1, 0)
	sight := truly.Direction(n.m.axes)
	zero := rig.DegAxes(0, 45)
	zeroAngle := axis2Angle(&r.Chain, zero, r.Chain.Direction(zero), r.Chain.Dir1.Scale(-1))
	j := n.solved(0, 0)
	j.Solved = rig.LiftNear(r.Chain.Solve(r.Kind, sight, r.Kind.SideOf(j.Pose)), j.Pose)
	j.OffsetSky = direction(r, j.Pose).Angle(sight)
	rotation := (camera + axis2Angle(&truly, n.m.axes, sight, r.Pole()) - zeroAngle).Positive()
	shown := (rotation - axis2Angle(&r.Chain, j.Pose, sight, r.Pole()) + zeroAngle).Positive()
	j.Rotation, j.Camera = &rotation, &shown
	return j
}

// axis2Angle is the position angle of axis 2 seen along a sight, from a pole through east.
func axis2Angle(c *rig.Chain, a rig.Axes, sight, pole frame.Vec[frame.Rig]) unit.Angle {
	carried := frame.About(c.Dir1, a.A1).Apply(c.Dir2)
	east := pole.Cross(sight)
	return unit.Angle(math.Atan2(carried.Dot(east), carried.Dot(sight.Cross(east))))
}

// Two pictures that agree against what was learnt make it forgotten where that was little: a false first may have taught it. So many as settle a fit
// are not forgotten, though the fit has not settled.
func TestWhatIsForgotten(t *testing.T) {
	for count, gone := range map[int]bool{1: true, 7: true, 8: false, 30: false} {
		n := eyed(t, rig.MotorCount, rig.KeptOnAxes)
		m := pointing.New(pointing.MountOf(n.w.Rig), rig.Axes{})
		m.Count = count
		n.s.Pointing = map[string]pointing.Model{"main": m}
		n.s.Learnt = nil
		j := question.JudgedSolve{Optics: "main", Good: true, Pose: field, Solved: field.Add(rig.DegAxes(0, 1))}
		turn := begin(n.w, n.s)
		require.Equal(t, gone, turn.forget(j, j), count)
		_, still := turn.s.Pointing["main"]
		require.Equal(t, gone, !still, count)
	}
}
