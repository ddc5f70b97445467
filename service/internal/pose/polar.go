package pose

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// polarPrior is how far off a polar axis may be before it was aligned. Source: the project's design, section 3.
const polarPrior = 5 * unit.Degree

// twoAgainst: two independent solves lie off the pose. A polar axis off by no more than its prior that explains both is the lesser
// claim, so it is a hold until aligned. Else, if they agree with each other, the pose is wrong: unknown, and a lock; if not, there is
// one more place where the axes may be.
func (t *turn) twoAgainst(a, b question.JudgedSolve) {
	if agree(t.r, a, b) && t.forget(a, b) {
		return
	}
	if tilt, ok := t.polarError(a, b); ok {
		if t.doubtOf() == question.SolveDoubt { // what else is in doubt stays so
			t.s.Doubt, t.s.DoubtOf = sprintf("the polar axis stands %s: align it, then solve again", tiltWords(tilt)), question.PolarDoubt
		}
		t.say(PolarError, b.RequestID, "two solves against the pose are explained by a polar axis that stands %s: align it", tiltWords(tilt))
		t.again(t.s.Anchored)
		return
	}
	if !agree(t.r, a, b) {
		t.addSolved(b)
		return
	}
	if m := t.s.Pointing[b.Optics]; !m.Trusted() {
		delete(t.s.Pointing, b.Optics)
	}
	why := sprintf("two independent solves agree with each other against the pose (%.2f° and %.2f° off)", a.OffsetSky.Deg(), b.OffsetSky.Deg())
	t.alarm(PoseLost, b.RequestID, "%s: the pose is not known; find what slipped and home again", why)
	t.notes[len(t.notes)-1].Locks = true
	t.s.Homing = nil
	t.lose(why)
}

// forget drops what was learnt through the optics where it had not settled: a first solve may have been false, and two that agree against it say so.
// Where nothing was accepted since homing and both lie as a first solve may, the pose stands.
func (t *turn) forget(a, b question.JudgedSolve) bool {
	m, ok := t.s.Pointing[b.Optics]
	if !ok || m.Trusted() || !m.Little() || len(t.s.Learnt) > 0 {
		return false
	}
	for _, j := range []question.JudgedSolve{a, b} {
		if direction(t.r, j.Pose).Angle(direction(t.r, j.Solved)) > firstOffset {
			return false
		}
	}
	delete(t.s.Pointing, b.Optics)
	t.settled()
	t.s.Against, t.s.Solves, t.s.Before = 0, nil, nil
	t.say(SolveFor, b.RequestID, "two independent solves agree against the little that earlier ones taught: that is forgotten, the next picture is a first")
	t.again(t.s.Anchored[:1])
	return true
}

// Leans tells whether two solves showed that a leaning polar axis is what puts the pose in doubt, and nothing else does.
func Leans(s question.RigState) bool { return (&turn{s: s}).doubtOf() == question.PolarDoubt }

// tiltWords gives a polar error for people: east and west as its screws turn it, about the vertical.
func tiltWords(p rig.Tilt) string {
	ew, ud := "east", "high"
	if p.East < 0 {
		ew = "west"
	}
	if p.Up < 0 {
		ud = "low"
	}
	return sprintf("%.1f° too far %s (counted along the horizon) and %.1f° too %s", p.East.Abs().Deg(), ew, p.Up.Abs().Deg(), ud)
}

// polarError returns the polar-axis error that explains two solves, if one within the prior does: the tilt of the chain under which
// both poses point where they were solved. Two unknowns, six residuals, Gauss-Newton with numerical derivatives (Nocedal & Wright,
// Numerical Optimization, 2nd ed. 2006, section 10.3). The solves are directions by the file's own chain, in which Solved was given.
func (t *turn) polarError(a, b question.JudgedSolve) (rig.Tilt, bool) {
	if !t.r.Kind.Equatorial() {
		return rig.Tilt{}, false
	}
	want := [2]frame.Vec[frame.Rig]{direction(t.r, a.Solved), direction(t.r, b.Solved)}
	poses := [2]rig.Axes{a.Pose, b.Pose}
	residual := func(p rig.Tilt) (out [6]float64) {
		full := rig.Tilt{East: t.r.Tilt.East + p.East, Up: t.r.Tilt.Up + p.Up}
		c := rig.NewChain(t.r.Kind, t.r.Site.Lat, full, t.r.Chain.Point1, 0)
		for i := range poses {
			d := c.Direction(poses[i]).Sub(want[i])
			out[3*i], out[3*i+1], out[3*i+2] = d.X, d.Y, d.Z
		}
		return out
	}
	var p rig.Tilt
	for range 8 {
		p = gaussNewton(p, residual)
	}
	var sum float64
	for _, v := range residual(p) {
		sum += v * v
	}
	size := math.Hypot(float64(p.East)*t.r.Site.Lat.Cos(), float64(p.Up))
	ok := math.Sqrt(sum/2) <= float64(agreement) && size <= float64(polarPrior)
	return p, ok // a NaN size compares false
}

// gaussNewton makes one step. A singular system leaves p as it is.
func gaussNewton(p rig.Tilt, residual func(rig.Tilt) [6]float64) rig.Tilt {
	const h = 1e-6 // radians: a thousandth of what is looked for, well above rounding
	r := residual(p)
	re, ru := residual(rig.Tilt{East: p.East + h, Up: p.Up}), residual(rig.Tilt{East: p.East, Up: p.Up + h})
	var ee, eu, uu, ge, gu float64
	for i := range r {
		de, du := (re[i]-r[i])/h, (ru[i]-r[i])/h
		ee, eu, uu = ee+de*de, eu+de*du, uu+du*du
		ge, gu = ge+de*r[i], gu+du*r[i]
	}
	det := ee*uu - eu*eu
	if det < 1e-12 {
		return p
	}
	return rig.Tilt{East: p.East - unit.Angle((uu*ge-eu*gu)/det), Up: p.Up - unit.Angle((ee*gu-eu*ge)/det)}
}
