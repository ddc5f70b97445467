package pose

import (
	"maps"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// From one picture to the next solves shift as the axes turn, whatever a mount's constant errors are. Where they shift by something more, to one
// side picture after picture, something slips or the solver is being led: told from what two pictures differ by, that shows before the pointing
// model has learnt anything, which alone would take a slow drift for errors of the mount. Summed as Page does (Biometrika 41, 1954).
const (
	// driftJitter is by how much, one standard deviation each way, shifts miss that on one place of the sky: the play of the gears, the periodic
	// error of a worm, the scatter of two solves, the roundness of belief and counts. Common practice, no source.
	driftJitter = 2 * unit.Arcminute
	// driftHour is what an hour between them adds: metal cools. Common practice, no source.
	driftHour = 1 * unit.Arcminute
	// driftSlack is how much of a shift to one side, standard deviations, counts for nothing with driftPause between two pictures or more: bending
	// goes on all night. With less between them it is less, or pictures that follow each other fast, or one told again, would take a sum away.
	driftSlack = 0.5
	driftPause = 40 * time.Second
	// wildShift is the most that one shift counts for: a single false solve, or one kick, is no drift.
	wildShift = 3.5
	// mostDrift is where a sum ends, so that a few pictures that shift as the axes turn end what it holds.
	mostDrift = 6
	// drifting is the sum beyond which it ends only where solves lie again as before it began: sync/walk drift_sigma as it is by default.
	drifting = 4
	// cameBack is the most, each way, that what the terms leave open between two pictures may excuse of how far the second lies from where the first
	// has it. Choice: as near as two solves agree; times the root of d2, 37′.
	cameBack = agreement
	// d2Away is from which squared distance on one does not lie there: χ² of two degrees of freedom, p .001, as sync/expected by default.
	d2Away = 13.8
	// samePlace is within which two pictures show one place: elsewhere what the terms leave out counts too.
	samePlace = 10 * unit.Arcminute
	// reckonedStays is how far the tube may turn between two pictures of a rig whose pose is reckoned, for them to say anything: with each slew it loses
	// a little, and an alt-azimuth that is reckoned to follow the sky from a degree off follows another star.
	reckonedStays = 1 * unit.Degree
	// sameHome is by how much the axes may miss a sensed home, and nothing turned unseen. Choice: sensors repeat to some 0.02°.
	sameHome = 4 * unit.Arcminute
	// statedHome is the same of a home that a person states. Choice: marks are met to half a degree, and a person sees more.
	statedHome = 1 * unit.Degree
)

// Drifted is what has come together of unexplained shifts to one side with one more good solve. One that lies farther off than expected is held for
// that, and says of drift nothing: errors greater than are believed of any mount, and false solves, would else count as one.
func Drifted(r *rig.Rig, s question.RigState, j question.JudgedSolve) question.Drift {
	d, ok := s.Drifts[driftOf(j)]
	if !j.Agreed {
		return d
	}
	was := d
	last := question.JudgedSolve{Pose: d.Pose, Solved: d.Solved, Mid: d.Mid}
	d.Pose, d.Solved, d.Mid = j.Pose, j.Solved, j.Mid
	if j.Confirmed {
		d.FromMid = time.Time{}
	}
	if !ok || last.Mid.IsZero() || j.Confirmed {
		return begun(d, j)
	}
	m := PointingModel(r, s, j.Optics)
	off, v := shift(r, &m, last, j)
	between := j.Mid.Sub(last.Mid).Abs()
	if s.Pose.Source == rig.Reckoned && direction(r, last.Pose).Angle(direction(r, j.Pose)) > reckonedStays {
		off = [2]float64{} // what they differ by says nothing
	}
	slack := driftSlack * min(1, between.Seconds()/driftPause.Seconds())
	for i := range off {
		z := off[i] / math.Sqrt(v[2*i])
		d.Sums[2*i] = shifted(d.Sums[2*i], z, slack)
		d.Sums[2*i+1] = shifted(d.Sums[2*i+1], -z, slack)
	}
	if away(r, &m, was, j) {
		d.Sums = stayed(was.Sums, d.Sums)
	}
	return begun(d, j)
}

// shift is what two solves differ by beyond what the axes turned and the model foretells, across and along, and the covariance of that.
func shift(r *rig.Rig, m *pointing.Model, last, j question.JudgedSolve) (off [2]float64, v pointing.Cov2) {
	mount := pointing.MountOf(r)
	from, to := m.At(mount, last.Pose), m.At(mount, j.Pose)
	a, b := from.Off(direction(r, last.Solved)), to.Off(direction(r, j.Solved))
	jitter := unit.Angle(hypot(driftJitter, driftHour*unit.Angle(j.Mid.Sub(last.Mid).Abs().Hours())))
	v = m.Apart(&from, &to).Plus(pointing.Cov2{float64(jitter * jitter), 0, float64(jitter * jitter)})
	if Deliberate(r, last, j) > samePlace {
		v = v.Plus(pointing.Misfit()).Plus(pointing.Misfit())
	}
	return [2]float64{b[0] - a[0], b[1] - a[1]}, v
}

// begun notes an accepted picture at which nothing has come together.
func begun(d question.Drift, j question.JudgedSolve) question.Drift {
	if j.Settles() && pointing.Longest(d.Sums) == 0 {
		d.FromPose, d.FromSolved, d.FromMid = j.Pose, j.Solved, j.Mid
	}
	return d
}

// away tells whether solves drifted and one more does not lie as those of before: that they stay where they went to brings nothing back. What was learnt
// meanwhile may be what misled it: two places may differ by no more than those of a mount of which nothing is known either.
func away(r *rig.Rig, m *pointing.Model, d question.Drift, j question.JudgedSolve) bool {
	if d.FromMid.IsZero() || pointing.Longest(d.Sums) <= drifting {
		return false
	}
	from, nothing := question.JudgedSolve{Pose: d.FromPose, Solved: d.FromSolved, Mid: d.FromMid}, pointing.New(pointing.MountOf(r), rig.Axes{})
	off, v := shift(r, m, from, j)
	bare, most := shift(r, &nothing, from, j)
	return v.Within(cameBack).D2(off) > d2Away || most.D2(bare) > d2Away
}

// stayed are sums that do not fall.
func stayed(was, now [4]float32) [4]float32 {
	for i := range now {
		now[i] = max(was[i], now[i])
	}
	return now
}

// shifted is a sum with one more shift.
func shifted(sum float32, z, slack float64) float32 {
	return float32(min(mostDrift, max(0, float64(sum)+min(wildShift, z)-slack)))
}

// sumDrift takes a good solve into the sums, where it does not tell against the pose and nothing else is in doubt.
func (t *turn) sumDrift(j question.JudgedSolve) {
	if !j.Good || j.Side == "" || j.Against || t.s.Against > 0 {
		return
	}
	all := maps.Clone(t.s.Drifts)
	if all == nil {
		all = map[string]question.Drift{}
	}
	all[driftOf(j)] = Drifted(t.r, t.s, j)
	t.s.Drifts = all
}

// redrift changes what is held of every drift.
func (t *turn) redrift(change func(*question.Drift)) {
	if len(t.s.Drifts) == 0 {
		return
	}
	all := make(map[string]question.Drift, len(t.s.Drifts))
	for o, d := range t.s.Drifts {
		change(&d)
		all[o] = d
	}
	t.s.Drifts = all
}

// rezeroDrifts is what a homing makes of drifts, at which the axes stood so far from home by what they read. Where they had turned unseen, that is what
// the pictures shifted by. Where they had not, the next picture goes on from the last. Where nothing tells, the pictures begin anew.
func (t *turn) rezeroDrifts(h *question.Homing, step rig.Axes, told bool) {
	most := statedHome
	if h.Sensed && t.s.Homing != nil && t.s.Homing.Sensed {
		most = sameHome
	}
	switch {
	case h.SigmaTold, told && step.Abs().Max() > most:
		t.s.Drifts = nil
	case told:
		t.redrift(func(d *question.Drift) { d.Pose, d.FromPose = d.Pose.Sub(step), d.FromPose.Sub(step) })
	case h.Sensed:
		t.redrift(func(d *question.Drift) { d.Mid = time.Time{} })
	default:
		t.redrift(func(d *question.Drift) { d.Mid, d.FromMid = time.Time{}, time.Time{} })
	}
}

// driftOf names the drift that a solve counts to: on the other side what shifts looks turned over, in axis terms or against the sky.
func driftOf(j question.JudgedSolve) string { return string(j.Side) + " " + j.Optics }
