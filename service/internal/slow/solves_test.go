package slow_test

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/slow"
)

// solve draws a good solve of where the rig truly points, a little off its pose.
func (l *lot) solve() {
	q, st, r := &l.q, &l.q.State, &l.slow
	if !l.one(6) {
		st.Sample.Doing = "tracking"
	}
	st.Sample.Time = ptr(-0.5)
	for range 8 { // high enough for a picture
		if r.Altitude(st.Places[0].Axes) > 18*degree {
			break
		}
		st.Places[0].Axes = l.somewhere()
	}
	l.learnt()
	exposure := math.Round(l.between(1, 20))
	start := -exposure - math.Round(l.between(2, 60))
	l.marks(start, exposure)
	l.believe(0, r.Lat, r.Lon)
	mid := start + exposure/2
	pose := l.at(mid)
	off := l.scatter(pick(l.rng, 0.05, 0.2, 0.6))
	if p := st.Pointing; p != nil {
		e := r.Expects(p, pose)
		off = plus(slow.Axes{e[0] - pose[0], e[1] - pose[1]}, l.scatter(pick(l.rng, 0.02, 0.1)))
	}
	ra, dec := r.Seen(slow.Sidereal(q.At, r.Lon)+mid*2*math.Pi*1.00273781191135448/86400, plus(pose, off))
	v := &slow.Solve{
		Sky: slow.Sky{RA: math.Mod(ra+4*math.Pi, 2*math.Pi), Dec: dec}, Start: &start, Exposure: exposure, Picture: fmt.Sprint("picture ", l.rng.IntN(1000)),
		Pixel: ptr(2 * degree / 3600), Matched: ptr(20 + l.rng.IntN(80)), Residual: ptr(0.8 * degree / 3600), Radius: ptr(math.Pi), Mirrored: ptr(false), Rotation: ptr(0.0),
	}
	if o := r.Optics; o.Pixel != nil {
		v.Pixel = ptr(*o.Pixel * l.between(0.995, 1.005))
		v.Residual = ptr(*o.Pixel * l.between(0.1, 0.8))
	}
	if o := r.Optics; o.Mirrored != nil {
		v.Mirrored = ptr(*o.Mirrored)
	}
	if o := r.Optics; o.Camera != nil {
		v.Rotation = ptr(math.Mod(r.Picture(plus(pose, off), *o.Camera)+l.between(-1, 1)*degree+4*math.Pi, 2*math.Pi))
	}
	if l.one(2) {
		v.Width = ptr(l.between(0.5, 3) * degree)
	}
	q.Solve = v
	l.lacks(v)
}

// lacks leaves out what the solver is declared to lack, sometimes.
func (l *lot) lacks(v *slow.Solve) {
	k := l.slow.Lacks
	if k["scale"] && l.one(2) {
		v.Pixel, v.Residual = nil, nil
	}
	if k["rotation"] && l.one(2) {
		v.Rotation = nil
	}
	if k["mirror"] && l.one(2) {
		v.Mirrored = nil
	}
	if k["matched"] && l.one(2) {
		v.Matched = nil
	}
	if k["residual"] && l.one(2) {
		v.Residual = nil
	}
	if k["radius"] && l.one(2) {
		v.Radius = nil
	}
}

// at is where the rig stood at a time before the question.
func (l *lot) at(t float64) slow.Axes {
	p, m := l.q.State.Places[0].Axes, &l.q.State.Sample
	switch {
	case m.Doing != "tracking":
		return p
	case m.Time == nil:
		return l.slow.Tracked(p, t)
	}
	return l.slow.Tracked(p, t-*m.Time)
}

// marks are the samples around an exposure.
func (l *lot) marks(start, exposure float64) {
	st := &l.q.State
	doing := st.Sample.Doing
	for _, t := range []float64{start - math.Round(l.between(1, 5)), start + exposure/2, start + exposure + 1, *st.Sample.Time} {
		st.Marks = append(st.Marks, slow.Mark{Time: t, Doing: doing, Axes: l.at(t), Known: true})
	}
}

// learnt draws what this homing has taught: nothing, one side or both, and the syncs that did.
func (l *lot) learnt() {
	st := &l.q.State
	st.Learnt = map[string]slow.Axes{}
	side := l.slow.Side(st.Places[0].Axes)
	switch l.rng.IntN(3) {
	case 0:
		return
	case 1:
		st.Learnt[side] = l.scatter(0.3)
		l.points()
	case 2:
		l.points()
		other := map[string]string{slow.East: slow.West, slow.West: slow.East, slow.First: slow.Second, slow.Second: slow.First}[side]
		st.Learnt[other] = l.scatter(0.3)
	}
	for range l.rng.IntN(4) {
		st.Syncs = append(st.Syncs, slow.Done{Time: -l.between(60, 4000), Axes: l.scatter(0.3), Nearer: l.one(2)})
	}
}

// points draws what solves have taught of the mount's errors: less sure or more, and some of it sure only together.
func (l *lot) points() {
	p := slow.PointingPrior()
	sure := pick(l.rng, 0.03, 0.1, 0.3, 1)
	var root [8][8]float64 // a square root of the covariance
	for i := range root {
		sigma := math.Sqrt(p.Cov[i][i])
		p.Terms[i] = sigma * l.rng.NormFloat64() / 2
		for j := range root {
			root[i][j] = 0.3 * sure * sigma * l.rng.NormFloat64()
		}
		root[i][i] += sure * sigma
	}
	for i := range root {
		for j := range root {
			p.Cov[i][j] = 0
			for k := range root {
				p.Cov[i][j] += root[i][k] * root[j][k]
			}
		}
	}
	p.Count = 1 + l.rng.IntN(20)
	for i := range p.Runs {
		p.Runs[i] = max(0, 3*l.rng.NormFloat64())
	}
	p.Taken = max(0, 0.3*degree*l.rng.NormFloat64())
	if l.one(2) {
		old := p.Fit
		for i := range old.Terms {
			old.Terms[i] += math.Sqrt(old.Cov[i][i]) * l.rng.NormFloat64() * pick(l.rng, 0.3, 2)
		}
		p.Settled = &old
	}
	l.q.State.Pointing = &p
}

// spoilSolve makes one thing of a solve wrong.
func (l *lot) spoilSolve() {
	v, st := l.q.Solve, &l.q.State
	if len(st.Places) == 0 {
		return
	}
	switch l.rng.IntN(23) {
	case 0, 1:
		l.aside(pick(l.rng, 0.5, 2, 5, 15, 60))
	case 2:
		if v.Mirrored != nil {
			v.Mirrored = ptr(!*v.Mirrored)
		}
	case 3:
		if v.Pixel != nil {
			v.Pixel = ptr(*v.Pixel * l.between(0.9, 1.1))
		}
	case 4:
		if v.Rotation != nil {
			v.Rotation = ptr(*v.Rotation + pick(l.rng, l.between(-8, 8)*degree, math.Pi))
		}
	case 5:
		v.Matched = pick(l.rng, nil, ptr(l.rng.IntN(20)))
	case 6:
		if v.Pixel != nil {
			v.Residual = pick(l.rng, nil, ptr(*v.Pixel*l.between(0.5, 3)))
		}
	case 7, 8:
		v.Radius = pick(l.rng, nil, ptr(l.between(1, 20)*degree))
		v.Hint = &slow.Sky{RA: v.Sky.RA + l.between(-5, 5)*degree, Dec: v.Sky.Dec}
	case 9:
		l.older(l.between(40, 300))
	case 10:
		v.Start = pick(l.rng, nil, ptr(l.between(-10, 10)))
	case 11:
		st.Marks[l.rng.IntN(4)].Doing = "moving"
	case 12:
		m := &st.Marks[2]
		m.Axes = plus(m.Axes, l.scatter(pick(l.rng, 0.01, 0.1, 1)))
	case 13:
		for range 3 + l.rng.IntN(6) {
			st.Syncs = append(st.Syncs, slow.Done{Time: -l.between(5, 700), Axes: l.scatter(0.1), Nearer: true})
		}
	case 14:
		for range 1 + l.rng.IntN(4) {
			st.Syncs = append(st.Syncs, slow.Done{Time: -l.between(700, 9000), Axes: l.scatter(2)})
		}
	case 15, 16, 17:
		l.doubt()
	case 18:
		l.q.Given = &slow.Sky{RA: v.Sky.RA + l.rng.NormFloat64()*3*degree, Dec: v.Sky.Dec}
	case 20, 21, 22: // believed already, so that it is no leap
		l.aside(pick(l.rng, 1.0, 3, 6))
		if at, t := l.slow.Aim(slow.Sidereal(l.q.At, l.slow.Lon), v.Sky.RA, v.Sky.Dec, l.at(0)), l.at(0); l.one(2) {
			l.ahead = slow.Axes{at[0] - t[0], at[1] - t[1]}
			l.believe(0, l.slow.Lat, l.slow.Lon)
		}
	case 19:
		l.ahead = l.scatter(pick(l.rng, 1.0, 3, 6))
		l.believe(0, l.slow.Lat, l.slow.Lon)
	}
}

// aside moves a solve by some degrees.
func (l *lot) aside(deg float64) {
	v := l.q.Solve
	v.Sky.Dec = max(-1.5, min(1.5, v.Sky.Dec+deg*degree*l.rng.NormFloat64()))
	v.Sky.RA += deg * degree * l.rng.NormFloat64() / math.Cos(v.Sky.Dec)
	v.Sky.RA = math.Mod(v.Sky.RA+8*math.Pi, 2*math.Pi)
	if l.q.State.Learnt == nil || l.one(2) {
		return
	}
	l.doubt()
}

// older makes the picture older by some seconds, and the samples around it.
func (l *lot) older(by float64) {
	v, st := l.q.Solve, &l.q.State
	if v.Start == nil {
		return
	}
	v.Start = ptr(*v.Start - by)
	for i := range st.Marks[:3] {
		m := &st.Marks[i]
		m.Time -= by
		m.Axes = l.at(m.Time)
	}
	if st.Sample.Doing == "tracking" { // the field stays on its star
		return
	}
	v.Sky.RA = math.Mod(v.Sky.RA-by*2*math.Pi*1.0027379/86400+4*math.Pi, 2*math.Pi)
}

// doubt adds a solve that was held or refused.
func (l *lot) doubt() {
	st, v, r := &l.q.State, l.q.Solve, &l.slow
	if v.Start == nil {
		return
	}
	pose := l.at(*v.Start)
	d := slow.Judged{
		Verdict: pick(l.rng, "held", "denied", "accepted"), Mid: *v.Start - l.between(30, 600), Picture: pick(l.rng, "another", v.Picture), Blind: l.one(2),
		Pose: plus(pose, l.scatter(pick(l.rng, 1.0, 8))), Field: pick(l.rng, 0, 1*degree), Good: l.one(2),
	}
	shift := l.scatter(pick(l.rng, 0.05, 0.3, 3))
	if l.one(2) { // as far off as this one is
		at := r.Aim(slow.Sidereal(l.q.At, r.Lon), v.Sky.RA, v.Sky.Dec, pose)
		shift = slow.Axes{at[0] - pose[0], at[1] - pose[1]}
		if l.one(2) { // with the tube on the other side
			d.Pose = slow.Axes{pose[0] + math.Pi, math.Pi - pose[1]}
			if r.Kind == slow.German {
				d.Pose[1] = -pose[1]
			}
		}
	}
	d.Solved = plus(d.Pose, shift)
	if d.Good {
		d.Against = l.one(2)
		d.Agreed = !d.Against && l.one(2)
	} else {
		d.Agreed = l.one(2)
	}
	if !d.Blind && l.one(2) {
		d.Hint = &slow.Sky{RA: v.Sky.RA + l.between(-9, 9)*degree, Dec: v.Sky.Dec}
	}
	if l.one(4) {
		d.Sky = pick(l.rng, &slow.Sky{RA: v.Sky.RA, Dec: v.Sky.Dec, ICRS: v.Sky.ICRS}, &slow.Sky{RA: v.Sky.RA + 0.01, Dec: v.Sky.Dec})
	}
	switch {
	case !(r.Clear(d.Pose, l.drawn.limits) > -1e9):
	case d.Good && d.Against && d.Verdict != "accepted" && l.one(3): // from before a homing
		st.Before = append(st.Before, d)
	default:
		st.Solves = append(st.Solves, d)
	}
}

// drifts adds what earlier solves shifted by to one side, the last of them, of the same field, a little further off or not, or of another one, and where
// they came from.
func (l *lot) drifts() {
	st, v, r := &l.q.State, l.q.Solve, &l.slow
	if v == nil || v.Start == nil || len(st.Places) == 0 || l.rng.IntN(3) > 0 {
		return
	}
	now := l.at(*v.Start + v.Exposure/2)
	d := &slow.Drift{}
	for i := range d.Sums {
		d.Sums[i] = max(0, pick(l.rng, l.between(-2, 2), l.between(-2, 6)))
	}
	st.Drift = d
	at := r.Aim(slow.Sidereal(l.q.At, r.Lon), v.Sky.RA, v.Sky.Dec, now)
	stood := func(off float64) slow.Stood {
		s := slow.Stood{Mid: *v.Start + v.Exposure/2 - pick(l.rng, 0, l.between(-30, 60), l.between(10, 600), l.between(600, 90000))}
		s.Pose = plus(now, l.scatter(pick(l.rng, 0.02, 1.0, 20)))
		s.Solved = plus(plus(s.Pose, slow.Axes{at[0] - now[0], at[1] - now[1]}), l.scatter(off))
		return s
	}
	if l.one(3) {
		d.From = ptr(stood(pick(l.rng, 0.05, 0.3, 2)))
	}
	if d.Comparable = !l.one(5); d.Comparable {
		d.Stood = stood(pick(l.rng, 0.01, 0.05, 0.3))
	}
}
