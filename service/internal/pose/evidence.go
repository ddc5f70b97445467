package pose

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Limits of solves as evidence. They are the defaults of rules that judge the same thing, so that what a rule passes is no evidence
// and what it holds is: sync/expected first_arcmin, sync/second agree_arcmin, solve/optics rotation_deg at its loosest.
const (
	firstOffset = 180 * unit.Arcminute
	laterOffset = 60 * unit.Arcminute // with offsets learnt; common practice, no source
	agreement   = 10 * unit.Arcminute
	cameraSlack = 15 * unit.Degree
)

// maxSolves bounds how many judged solves are kept.
const maxSolves = 64

// Evidence takes a judged solve in: it is kept for the next ones, and a good one that disagrees with the pose is evidence against
// it. j.Against may be set by the caller (solve/* passed and sync/expected did not), and j.Agreed (it did): what the gate passes is no evidence
// against the pose. Where neither is, the offset from the expected direction decides.
func Evidence(w World, s question.RigState, j question.JudgedSolve) (question.RigState, []Notice) {
	t := begin(w, s)
	if !j.Pose.Finite() || !j.Solved.Finite() || !j.OffsetSky.Finite() {
		t.say(Ignored, j.RequestID, "a solve with an angle that is no number is no evidence")
		return t.done()
	}
	j.Against = j.Good && (j.Against || !j.Agreed && t.disagrees(j))
	if j.Good && len(t.s.Anchored) > 0 {
		t.weigh(j)
	}
	if !t.oneSide(j.Side) { // what it shows was counted from a side that it may not have been on
		j.Side, j.Rotation, j.Camera = "", nil, nil
	}
	t.sumDrift(j)
	t.s.Solves = slices.Concat(t.s.Solves, []question.JudgedSolve{j}) // and no room for more, of every rig
	if n := len(t.s.Solves); n > maxSolves {
		t.s.Solves = t.s.Solves[n-maxSolves:]
	}
	if j.Verdict == question.Accepted {
		t.s.Before = nil
		t.learn(j)
	}
	return t.done()
}

// oneSide tells whether every place held lies on a side.
func (t *turn) oneSide(side rig.Side) bool {
	for _, c := range t.s.Anchored {
		if t.r.Kind.SideOf(c.Axes) != side {
			return false
		}
	}
	return len(t.s.Anchored) > 0
}

// strays is how far a solve may lie from where it is expected: a first pointing error, or less where something was learnt of that side since
// homing, or of the mount before.
func (t *turn) strays(j question.JudgedSolve) unit.Angle {
	m := t.pointing(j.Optics)
	if m.Count > 0 && (t.s.Learnt[j.Side].Count > 0 || m.Sure(t.mount(), j.Pose)) {
		return laterOffset
	}
	return firstOffset
}

// disagrees tells whether a solve lies further from the expected direction than the pose and a first pointing error explain.
func (t *turn) disagrees(j question.JudgedSolve) bool {
	limit := t.strays(j)
	if c := t.s.Pose.Candidates; len(c) > 0 {
		limit += 3 * c[0].Sigma.Max()
	}
	return j.OffsetSky > limit
}

// weigh lets a good solve speak for or against the places held.
func (t *turn) weigh(j question.JudgedSolve) {
	t.camera(j)
	switch {
	case t.s.Pose.State == question.Known && j.Against && t.disagrees(j):
		t.against(j)
	case t.s.Pose.State == question.Known && j.Against:
		t.mildly(j)
	case t.s.Pose.State == question.Known:
		t.s.Against = 0
	case t.s.Against > 0:
		t.second(j)
	default:
		t.choose(j)
	}
}

// mildly: a good solve lies off what is expected by less than puts the pose in doubt. Where an independent one said the same, what was learnt may be
// what is wrong, or the polar axis.
func (t *turn) mildly(j question.JudgedSolve) {
	first, independent := t.firstAgainst(j)
	if !independent || !agree(t.r, first, j) || t.forget(first, j) {
		return
	}
	if tilt, ok := t.polarError(first, j); ok {
		t.say(PolarError, j.RequestID, "two solves off what is expected are explained by a polar axis that stands %s: align it, or report that the tripod moved", tiltWords(tilt))
	}
}

// against: the first good solve that disagrees makes the pose one of two places.
func (t *turn) against(j question.JudgedSolve) {
	t.s.Against = 1
	t.doubtBy(question.SolveDoubt, "a solve lies %.2f° from where the pose points: a second independent picture, or homing, settles it", j.OffsetSky.Deg())
	t.say(SolveAgainst, j.RequestID, "%s", t.s.Doubt)
	t.addSolved(j)
}

// addSolved adds the place that a solve stands for: to what was learnt of the pointing, or to a first pointing error where nothing was.
// What was learnt of axis 1 may be a cone error, which grows toward the end of axis 1, or an index error, which does not.
func (t *turn) addSolved(j question.JudgedSolve) {
	spread := t.wide(j.Solved, t.strays(j))
	lean := t.lean(j)
	spread.A1 += t.wide(j.Solved, lean.A1.Abs()).A1 - lean.A1.Abs()
	c := t.s.Anchored[0]
	c.Axes = c.Axes.Add(j.Solved.Sub(j.Pose)).Sub(lean)
	c.Sigma = spread.Scale(1.0 / 3)
	c.Because, c.Solve = "where solve "+j.RequestID+" puts the axes", j.RequestID
	t.again(append(t.s.Anchored, c))
}

// again settles new places at the anchor and carries them to the last sample.
func (t *turn) again(cands []question.Candidate) {
	var shown []question.Candidate
	var carry rig.Axes
	if p := t.s.Pose.Candidates; len(p) > 0 && len(t.s.Anchored) > 0 {
		carry = p[0].Axes.Sub(t.s.Anchored[0].Axes)
	}
	t.s.Anchored = merge(t.r, cands, merged, false)
	for _, c := range t.s.Anchored {
		c.Axes = c.Axes.Add(carry)
		shown = append(shown, c)
	}
	at := t.s.Pose.At
	t.show(shown, t.s.Pose.Source, t.s.Sample)
	t.s.Pose.At = at
}

// second: after one solve against the pose, an independent one sides with the pose, or agrees with the first, or neither.
func (t *turn) second(j question.JudgedSolve) {
	first, independent := t.firstAgainst(j)
	switch {
	case !independent:
	case j.Confirmed && t.unsolved():
		t.settled()
		t.s.Against = 0
		t.say(SolveFor, j.RequestID, "a second independent solve agrees with the first that the mount moved by %.1f′: small enough to be taken", j.OffsetSky.Arcmin())
		t.again(t.s.Anchored[:1])
	case !j.Against && (t.sides(j, 0) || j.Agreed && t.near()):
		t.settled()
		t.s.Against = 0
		t.say(SolveFor, j.RequestID, "a second independent solve sides with the pose (%.2f° off)", j.OffsetSky.Deg())
		t.again([]question.Candidate{t.sided(j, 0)})
	case j.Against:
		t.s.Against++
		t.twoAgainst(first, j)
	}
}

// unsolved tells whether all places held but one are places that solves put there.
func (t *turn) unsolved() bool {
	for _, c := range t.s.Anchored[1:] {
		if !bySolve(c) {
			return false
		}
	}
	return true
}

// near tells whether every place held lies so near the first that a solve that the gate passes for that one tells them apart well enough: as near
// as any later solve may lie.
func (t *turn) near() bool {
	at := direction(t.r, t.s.Anchored[0].Axes)
	for _, c := range t.s.Anchored[1:] {
		if direction(t.r, c.Axes).Angle(at) > laterOffset || t.r.Kind.SideOf(c.Axes) != t.r.Kind.SideOf(t.s.Anchored[0].Axes) {
			return false
		}
	}
	return true
}

// firstAgainst returns the solve on record against the pose that j agrees with best, and whether j is independent of all those
// against it.
func (t *turn) firstAgainst(j question.JudgedSolve) (best question.JudgedSolve, independent bool) {
	off, found := unit.Angle(math.Inf(1)), false
	for _, o := range t.s.Solves {
		if !o.Against {
			continue
		}
		if ok, _ := Independent(t.r, o, j); !ok {
			return o, false
		}
		if d := shiftError(t.r, o, j); d < off {
			best, off, found = o, d, true
		}
	}
	return best, found
}

// direction is where the tube points by the nominal axes: what is compared are angles between directions, for which the frame and a
// small tilt make no difference.
func direction(r *rig.Rig, a rig.Axes) frame.Vec[frame.Rig] { return r.Chain.Direction(a) }

// shiftError is by how much the offsets of two solves from the pose differ, as an angle on the sky: zero where the shift between the
// solves equals the shift of the axes.
func shiftError(r *rig.Rig, a, b question.JudgedSolve) unit.Angle {
	moved := b.Pose.Add(a.Solved.Sub(a.Pose)) // where b should have been solved if a's offset holds
	return direction(r, moved).Angle(direction(r, b.Solved))
}

// agree tells whether two solves say the same of the axes. Offsets of degrees turn with the sky, so what they may differ by grows
// with them: a twentieth.
func agree(r *rig.Rig, a, b question.JudgedSolve) bool {
	return shiftError(r, a, b) <= agreement+max(a.OffsetSky, b.OffsetSky)/20
}

// lies is how far a solve lies from place k, or from the nearest pose of a stretch: a place that is wider than a first pointing error is a stretch
// of a way, on which no pose is likelier than another. It loses nothing by its middle standing farther off.
func (t *turn) lies(j question.JudgedSolve, k int) unit.Angle {
	solved := j.Solved.Sub(t.lean(j))
	return min(t.liesAt(j, k, solved, t.wide(solved, firstOffset)), t.liesOver(j, k))
}

// liesOver is how far it lies by the pose on the other side that points there, anywhere on a stretch: the start of a broken-off change of sides in
// place is at its very edge, and points where its end does. It lies nowhere near a place that is no stretch to there, whatever room its own uncertainty
// leaves.
func (t *turn) liesOver(j question.JudgedSolve, k int) unit.Angle {
	over, c := t.turnedOver(j.Solved.Sub(t.lean(j))), t.s.Anchored[k]
	mid := j.Pose.Add(c.Axes.Sub(t.s.Anchored[0].Axes))
	if beyond(rig.LiftNear(over, mid).Sub(mid), question.Sigma3(c.Sigma).Add(t.wide(over, t.strays(j)))) {
		return unit.HalfTurn
	}
	return t.liesAt(j, k, over, rig.Axes{})
}

// turnedOver is the pose on the other side that points where one does: a stretch of a way from side to side may hold both.
func (t *turn) turnedOver(a rig.Axes) rig.Axes {
	return t.r.Chain.Solve(t.r.Kind, direction(t.r, a), t.r.Kind.SideOf(a).Other())
}

// liesAt is how far a solve lies from place k by one of the two poses that it stands for.
func (t *turn) liesAt(j question.JudgedSolve, k int, solved, less rig.Axes) unit.Angle {
	at := direction(t.r, solved)
	c := t.s.Anchored[k]
	mid := j.Pose.Add(c.Axes.Sub(t.s.Anchored[0].Axes))
	d, wide := rig.LiftNear(solved, mid).Sub(mid), question.Sigma3(c.Sigma).Sub(less)
	wide = larger(wide, rig.Axes{})
	in := rig.Axes{A1: min(max(d.A1, -wide.A1), wide.A1), A2: min(max(d.A2, -wide.A2), wide.A2)}
	return min(direction(t.r, mid).Angle(at), direction(t.r, mid.Add(in)).Angle(at))
}

// reaches tells whether a solve lies within reach of place k.
func (t *turn) reaches(j question.JudgedSolve, k int) bool {
	return t.lies(j, k) <= t.strays(j)+3*t.s.Anchored[k].Sigma.Max()
}

// sides tells whether a solve lies within reach of candidate i and of no other place on the sky that is held.
func (t *turn) sides(j question.JudgedSolve, i int) bool {
	if !t.reaches(j, i) {
		return false
	}
	own := t.lies(j, i)
	for k := range t.s.Anchored {
		held := t.holds(k, i) && own <= t.strays(j) && t.liesOver(j, k) > own+agreement
		if k != i && !held && (t.lies(j, k) <= own+agreement || t.untold(j, i, k)) {
			return false // another place fits as well or better
		}
	}
	return true
}

// untold tells whether a solve that lies within reach of place k says nothing against it by lying nearer to place i. The two poses of one direction
// differ by what the axes are off home, so either may lie nearer; and of a wide place the pose that fits best is compared, of a narrow one the only one.
func (t *turn) untold(j question.JudgedSolve, i, k int) bool {
	a, b := t.s.Anchored[i], t.s.Anchored[k]
	mirrored := t.r.Kind.SideOf(a.Axes) != t.r.Kind.SideOf(b.Axes)
	narrower := !beyond(b.Sigma, a.Sigma) && beyond(a.Sigma, b.Sigma.Scale(2))
	return (mirrored || narrower) && t.reaches(j, k)
}

// holds tells whether place k is the stretch of a way on which place i lies: twice as wide at least, and reaching over the middle of the other.
// The two do not contradict each other, so a solve that fits both speaks for the narrow one.
func (t *turn) holds(k, i int) bool {
	stretch, c := t.s.Anchored[k], t.s.Anchored[i]
	return !beyond(c.Axes.Sub(stretch.Axes), question.Sigma3(stretch.Sigma)) && !beyond(c.Sigma, stretch.Sigma) && beyond(stretch.Sigma, c.Sigma.Scale(2))
}

// sided is a place that a solve sides with. Where the stretch that holds it goes with the others, its uncertainty, as shown, covers every pose of
// the stretch that the solve may stand for: as far as the solve lies off, and a pointing error.
func (t *turn) sided(j question.JudgedSolve, i int) question.Candidate {
	c := t.s.Anchored[i]
	for k := range t.s.Anchored {
		if k == i || !t.holds(k, i) {
			continue
		}
		solved := j.Solved.Sub(t.lean(j))
		mid := j.Pose.Add(c.Axes.Sub(t.s.Anchored[0].Axes))
		covers := rig.LiftNear(solved, mid).Sub(mid).Abs().Add(t.wide(solved, t.strays(j))).Scale(1.0 / 3)
		noise := t.sigma(t.s.Pose.Source, t.s.Sample)
		c.Sigma = larger(c.Sigma, rig.Axes{A1: beside(covers.A1, noise.A1), A2: beside(covers.A2, noise.A2)})
	}
	return c
}

// beside is what makes a standard deviation of a whole together with a part of it.
func beside(whole, part unit.Angle) unit.Angle {
	return unit.Angle(math.Sqrt(max(0, float64(whole*whole-part*part))))
}

// choose: where the places come from a motion or a restart, a good solve that sides with one of them alone settles on it.
func (t *turn) choose(j question.JudgedSolve) {
	for i := range t.s.Anchored {
		if !t.sides(j, i) {
			continue
		}
		if t.s.Homing == nil {
			return // not homed: a solve alone makes no count
		}
		sided := t.sided(j, i)
		c := t.joined(j, i, sided)
		if beyond(c.Sigma, larger(sided.Sigma.Scale(2), rig.Axes{A1: widest, A2: widest})) {
			t.say(SolveAgainst, j.RequestID, "a solve fits several of the places where the axes may be")
			return
		}
		c.Because, c.Solve = "", ""
		t.settled()
		t.say(SolveFor, j.RequestID, "a solve sides with one of the places where the axes may be")
		t.pick(i, c)
		return
	}
	for k := range t.s.Anchored {
		if j.Against && t.lies(j, k) <= t.strays(j) { // it fits several, and is no evidence against those
			t.say(SolveAgainst, j.RequestID, "a solve fits several of the places where the axes may be")
			return
		}
	}
	if j.Against {
		t.s.Against = 1
		t.say(SolveAgainst, j.RequestID, "a solve sides with none of the places where the axes may be")
		t.addSolved(j)
	}
}

// widest is how wide a place may become that a solve does not tell from others, one standard deviation: the loosest limit pose/sharp sigma_deg. What is farther
// apart stays several places.
const widest = 2 * unit.Degree

// joined is a place that a solve sides with, made wide enough for each other place on its side from which the picture lies no farther than an ordinary pointing
// error: what a leaning polar axis, the cone and the tube do may be what makes it lie nearer to one of them. Where they differ by how the mount keeps its
// syncs, both forms go on counting.
func (t *turn) joined(j question.JudgedSolve, i int, c question.Candidate) question.Candidate {
	own := t.s.Anchored[i]
	for k, o := range t.s.Anchored {
		if k == i || t.r.Kind.SideOf(o.Axes) != t.r.Kind.SideOf(own.Axes) || t.holds(k, i) || !t.fitsToo(j, own, k) {
			continue
		}
		c = covering(c, o)
	}
	return c
}

// fitsToo tells whether a solve that sides with one place lies no farther from place k than an ordinary pointing error. What was learnt of that was learnt at
// places that were held: where the two differ by how the mount keeps its syncs it may be off by all that either of them may be.
func (t *turn) fitsToo(j question.JudgedSolve, own question.Candidate, k int) bool {
	if eitherKept(own, t.s.Anchored[k]) {
		return t.reaches(j, k)
	}
	return t.lies(j, k) <= t.strays(j)
}

// pick settles on one candidate.
func (t *turn) pick(i int, c question.Candidate) {
	if p := t.s.Pose.Candidates; i < len(p) && len(p) == len(t.s.Anchored) { // again carries by the first
		p[0].Axes = t.s.Anchored[0].Axes.Add(p[i].Axes.Sub(t.s.Anchored[i].Axes))
	}
	t.again([]question.Candidate{c})
}

// camera: a solve whose camera angle is known shows on which side the tube is: of places half a turn of the picture apart, those that the
// picture contradicts go. What is compared is the camera angle that the solve shows at each place, never the picture's own position angle:
// near the end of axis 1 a polar axis a little off turns that by any angle.
func (t *turn) camera(j question.JudgedSolve) {
	if j.Camera == nil || len(t.s.Anchored) < 2 || !t.r.Kind.Equatorial() {
		return
	}
	upright, ok := t.upright(j)
	if !ok {
		return
	}
	var kept []question.Candidate
	first, fits := -1, false
	for i, c := range t.s.Anchored {
		off, told := t.pictureOff(j, c, upright)
		if told && unit.HalfTurn-off <= cameraSlack && off > cameraSlack+3*c.Sigma.A1 {
			continue
		}
		if first < 0 {
			first = i
		}
		fits = fits || told && off <= cameraSlack
		c.Because, c.Solve = "", ""
		kept = append(kept, c)
	}
	if !fits || len(kept) == len(t.s.Anchored) {
		return
	}
	t.say(SideShown, j.RequestID, "the camera angle shows the tube on side %s", t.r.Kind.SideOf(kept[0].Axes))
	if p := t.s.Pose.Candidates; len(p) == len(t.s.Anchored) {
		p[0] = p[first]
		t.s.Anchored[0] = t.s.Anchored[first]
	}
	t.again(kept)
}

// seenAcross is the least share of axis 2 that must lie across the line of sight for its angle in a picture to be told: half, 60° from
// the line. Where the tube is it lies all across; only of a place held far from where the picture shows it to point is it less.
const seenAcross = 0.5

// pictureOff is how far the camera angle that a solve shows, counted from a place held, lies from the one that is known, [0, π]; not told
// where axis 2 stands along the line of sight there. The solve's own is counted from the pose as then held.
// Derived: axis 2 as carried to both poses, projected across the line of sight; position angles run from north through east, which is
// backwards about that line.
func (t *turn) pictureOff(j question.JudgedSolve, c question.Candidate, upright unit.Angle) (unit.Angle, bool) {
	chain := &t.r.Chain
	sight := chain.Direction(j.Solved)
	held, at := j.Pose, j.Pose.Add(c.Axes.Sub(t.s.Anchored[0].Axes))
	across := func(a rig.Axes) frame.Vec[frame.Rig] {
		v := frame.About(chain.Dir1, a.A1).Apply(chain.Dir2)
		return v.Sub(sight.Scale(v.Dot(sight)))
	}
	a, b := across(held), across(at)
	if a.Norm() < seenAcross || b.Norm() < seenAcross {
		return 0, false
	}
	turned := unit.Angle(math.Atan2(-sight.Dot(a.Cross(b)), a.Dot(b)))
	return (*j.Camera - turned - upright).Wrapped().Abs(), true
}

// upright is the camera angle with the tube on the first side: as the file gives it, else as the last accepted solve showed it, and another accepted
// one with it. One picture alone may be a false one that lay where it was expected, and its angle half a turn off.
func (t *turn) upright(j question.JudgedSolve) (unit.Angle, bool) {
	if o, ok := t.r.OpticsNamed(j.Optics); ok && o.CameraAngle != nil {
		return *o.CameraAngle, true
	}
	var last *question.JudgedSolve
	for _, o := range slices.Backward(t.s.Solves) {
		if o.Optics != j.Optics || o.Camera == nil || !o.Good || o.Against || o.Verdict != question.Accepted {
			continue
		}
		switch {
		case last == nil:
			last = &o
		case !o.Mid.Equal(last.Mid) && (*o.Camera-*last.Camera).Wrapped().Abs() <= cameraSlack:
			return *last.Camera, true
		}
	}
	return 0, false
}
