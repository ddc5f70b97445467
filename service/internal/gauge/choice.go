package gauge

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
)

// misread is by how much a length may be wrong before anything was measured, one standard deviation. Choice: what a slip of the tape makes.
var misread = map[string]float64{"mm": 30, "deg": 1}

// readError is by how much a gap may be misread where the person states nothing, mm: the true one is within ± so much. Common practice, no
// source: a tape between two round things.
const readError = 3.0

// nearlyAs is by how much more a gap farther from home must tell. Choice: a tenth more is not worth a longer way in the dark.
const nearlyAs = 1.1

// leastGain is what a gap must still tell, mm². Choice: what is known to 8 mm, one standard deviation, is known well enough.
const leastGain = 8 * 8

// choice is what was picked so far: the covariance of the lengths that it leaves, each counted in what it may be misread by.
type choice struct {
	cov [][]float64
}

// newChoice starts with nothing picked and readies the candidates: what each tells, in what the lengths may be misread by.
func newChoice(s *Subject, all []candidate) *choice {
	c := &choice{}
	for i := range s.Lengths {
		row := make([]float64, len(s.Lengths))
		row[i] = 1
		c.cov = append(c.cov, row)
	}
	for i := range all {
		x := &all[i]
		x.scaled = nil
		for j, v := range x.slope {
			x.scaled = append(x.scaled, v*misread[s.Lengths[j].Unit])
		}
		x.gain = dot(x.scaled, x.scaled)
	}
	return c
}

// best is the candidate that shrinks the volume of what is not known most: the determinant of the information grows by 1 + hᵀ·C·h/σ² (matrix
// determinant lemma). -1 where none may be picked. Of two nearly as good the first, which is nearer home.
func (c *choice) best(all []candidate, picked []Pose, poses []rig.Axes) int {
	best, most := -1, 0.0
	for i := range all {
		if gain := all[i].gain; gain > most*nearlyAs && allowed(picked, poses[all[i].pose]) {
			best, most = i, gain
		}
	}
	return best
}

// allowed tells whether one more gap may be measured at a pose.
func allowed(picked []Pose, at rig.Axes) bool {
	for _, p := range picked {
		if p.At == at {
			return len(p.Gaps) < mostGaps
		}
	}
	return len(picked) < mostPoses
}

// take picks a gap: C - C·h·hᵀ·C/(σ² + hᵀ·C·h) (Sherman and Morrison, 1950), and what each candidate still tells beside it.
func (c *choice) take(pick *candidate, all []candidate) {
	var ch []float64
	for i := range c.cov {
		ch = append(ch, dot(c.cov[i], pick.scaled))
	}
	by := variance(readError) + dot(pick.scaled, ch)
	for i := range c.cov {
		for j := range c.cov {
			c.cov[i][j] -= ch[i] * ch[j] / by
		}
	}
	for i := range all {
		along := dot(all[i].scaled, ch)
		all[i].gain -= along * along / by
	}
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// variance is that of an error anywhere within ±e, all places as likely.
func variance(e float64) float64 { return math.Pow(e, 2) / 3 }
