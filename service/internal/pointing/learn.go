package pointing

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// huber is how far off, in standard deviations of two dimensions, a solve counts in full: beyond it counts as one at that distance pulls.
// Choice, after Huber, Robust Statistics, 1981: of true solves one in seven lies beyond.
const huber = 2

// settling is how many solves make a fit sure enough to hold slow walks against, and surely how sure it must be of where it looks.
const (
	settling = 8
	surely   = 6 * unit.Arcminute
)

// anchored is how sure, one standard deviation each way, the settled fit must be of where the tube looks before a solve there teaches it nothing
// more. Choice: a little more than what the terms leave out.
const anchored = 3 * unit.Arcminute

// scatters is by how much homings may scatter, one standard deviation, for that to be nothing to learn: learnt anew after each, it would let the settled
// fit walk, by a degree in some twenty. Choice.
const scatters = 10 * unit.Arcminute

// mostPose is the most, each way, that the doubt of a pose beside its home may excuse of a solve once the model had settled, or would if the
// pose let it: solves that lay within minutes of what was expected showed that the pose loses no more. Choice: as much as the terms leave
// out, for the roundness of belief and counts.
const mostPose = 2 * unit.Arcminute

// quiet is how many solves in a row within surely show that a pose loses no more than they left it. Choice: a target or two.
const quiet = 5

// Doubt is the covariance, across and along, that a pose known to sigma on each axis beside its home lends to a solve.
func (m *Model) Doubt(v *View, sigma rig.Axes) Cov2 {
	c := v.Axes(sigma)
	if m.Settled == nil && m.Quiet < quiet {
		return c
	}
	return c.Within(mostPose)
}

// slack is how much a solve may be off to one side, in standard deviations, before it counts toward a run. Page's cumulative sum
// (Biometrika 41, 1954) with a reference value for a shift of two.
const slack = 1

// Learnt is the model with one more accepted solve: where it was seen to look at a pose that is known to sigma on each axis beside its home.
// Each is one step of the recursive least squares (Kalman, 1960), in Joseph's form, linearised where the terms stand.
func (m Model) Learnt(mount Mount, pose, sigma rig.Axes, seen vec) Model {
	v := m.At(mount, pose)
	noise := m.Doubt(&v, sigma).Plus(Misfit())
	off := v.Off(seen)
	s := v.Scatter.Plus(noise)
	m.Runs = m.Ran(off, s)
	m.Quiet++
	if math.Hypot(off[0], off[1]) > float64(surely) {
		m.Quiet = 0
	}
	m.anchor(mount, pose, noise, seen)
	m.Fit.take(&v, off, noise)
	m.Count++
	if sure := m.At(mount, pose).Scatter; m.Settled == nil && m.Count >= settling && sure[0]+sure[2] < 2*sq(surely) {
		fit := m.Fit
		m.Settled = &fit
	}
	return m
}

// anchor lets a solve teach the settled fit, where it is not sure yet.
func (m *Model) anchor(mount Mount, pose rig.Axes, noise Cov2, seen vec) {
	if m.Settled == nil || !m.Learns(mount, pose) {
		return
	}
	v := m.Settled.At(mount, pose)
	fit := *m.Settled // the one held may be shared
	fit.take(&v, v.Off(seen), noise)
	m.Settled = &fit
}

// Learns tells whether a solve at a pose teaches the settled fit, or goes toward settling: what the pose lost until then is then taken for an
// error of the mount.
func (m *Model) Learns(mount Mount, pose rig.Axes) bool {
	if m.Settled == nil {
		return true
	}
	f := *m.Settled
	if f.Home.Max() <= scatters {
		f.add(Index1, -sq(f.Home.A1))
		f.add(Index2, -sq(f.Home.A2))
	}
	v := f.At(mount, pose)
	return !(v.Scatter[0]+v.Scatter[2] < 2*sq(anchored))
}

// Little tells whether fewer solves were taken in than a fit needs to settle: the false ones among them may be most.
func (m *Model) Little() bool { return m.Count < settling }

// taught is how many solves a model was taught by at the least that knows where the tube looks: a false first and another that happens to lie by it are
// fewer. Choice.
const taught = 3

// Knows tells whether the model settled, or some solves made it as sure of a view as it must be to settle.
func (m *Model) Knows(v *View) bool {
	return m.Settled != nil || m.Count >= taught && v.Scatter[0]+v.Scatter[2] < 2*sq(surely)
}

// Vouches tells whether the tube was seen to look at a pose, to within an angle, where the settled fit looks, which learns nothing there.
func (m *Model) Vouches(mount Mount, pose rig.Axes, seen vec, within unit.Angle) bool {
	if m.Learns(mount, pose) {
		return false
	}
	v := m.Settled.At(mount, pose)
	off := v.Off(seen)
	return math.Hypot(off[0], off[1]) <= float64(within)
}

// take takes an offset in. One far off counts as one at the distance of huber.
func (f *Fit) take(v *View, off [2]float64, noise Cov2) {
	s := v.Scatter.Plus(noise)
	if d := math.Sqrt(s.D2(off)); d > huber {
		k := d / huber
		noise = Cov2{noise[0] * k, noise[1] * k, noise[2] * k}
		s = v.Scatter.Plus(noise)
	}
	f.step(v, off, s, noise)
	f.bound()
	f.Home, f.Anew = rig.Axes{}, rig.Axes{}
}

// Trusted tells whether the model had settled, now or while the readings counted from a sensor.
func (m *Model) Trusted() bool {
	return m.Settled != nil || m.AtSensor != nil && m.AtSensor.Settled != nil || m.AtMarks != nil && m.AtMarks.Settled != nil
}

// sureEnough is how well the model knows where the tube looks, one standard deviation, to be sure of it. Choice: a third of a later solve's bound.
const sureEnough = 20 * unit.Arcminute

// Sure tells whether the model knows well where the tube looks at a pose.
func (m *Model) Sure(mount Mount, pose rig.Axes) bool {
	c := m.At(mount, pose).Scatter
	return c[0]+c[2] < 2*sq(sureEnough)
}

// Shifted is the model after two pictures agreed that the mount's base, or its load, moved by so much at once: what can move may have moved by that.
func (m Model) Shifted(by unit.Angle) Model {
	widen := func(f *Fit) {
		for _, t := range []Term{Index1, Index2, Cone, TiltA, TiltB} {
			f.add(t, sq(by))
		}
	}
	widen(&m.Fit)
	m = m.alsoKept(func(k Kept) Kept { widen(&k.Fit); return k })
	m.Runs = [4]float32{}
	m.Taken += by
	return m
}

// Untaken is an offset from the settled fit less what was taken on the word of two pictures, in whatever direction.
func (m *Model) Untaken(off [2]float64) [2]float64 {
	n := math.Hypot(off[0], off[1])
	if n <= float64(m.Taken) {
		return [2]float64{}
	}
	k := 1 - float64(m.Taken)/n
	return [2]float64{k * off[0], k * off[1]}
}

// Walked is where the settled fit has the tube look at a pose, and how far a solve may lie from there by it: within most but for what a person's eye alone
// opened, which is no walk of solves.
func (f *Fit) Walked(mount Mount, pose rig.Axes, most unit.Angle) (View, Cov2) {
	v := f.At(mount, pose)
	if f.Anew == (rig.Axes{}) {
		return v, v.Scatter.Within(most)
	}
	seen := *f
	seen.add(Index1, -sq(f.Anew.A1))
	seen.add(Index2, -sq(f.Anew.A2))
	narrow := seen.At(mount, pose).Scatter
	return v, narrow.Within(most).Plus(v.Scatter.Less(narrow))
}

// step takes an offset in: K = P Hᵀ S⁻¹, then P = (I - K H) P (I - K H)ᵀ + K R Kᵀ.
func (f *Fit) step(v *View, off [2]float64, s, noise Cov2) {
	det := s[0]*s[2] - s[1]*s[1]
	if !(det > 0) {
		return
	}
	var ph, gain [Terms][2]float64
	for i := range Terms {
		for j := range Terms {
			p := f.cov(i, j)
			ph[i][0] += p * v.slopes[0][j]
			ph[i][1] += p * v.slopes[1][j]
		}
		gain[i][0] = (ph[i][0]*s[2] - ph[i][1]*s[1]) / det
		gain[i][1] = (ph[i][1]*s[0] - ph[i][0]*s[1]) / det
	}
	var keep, half [Terms][Terms]float64
	for i := range Terms {
		f.Terms[i] += unit.Angle(gain[i][0]*off[0] + gain[i][1]*off[1])
		for j := range Terms {
			keep[i][j] = -gain[i][0]*v.slopes[0][j] - gain[i][1]*v.slopes[1][j]
		}
		keep[i][i]++
	}
	for i := range Terms {
		for j := range Terms {
			for k := range Terms {
				half[i][j] += keep[i][k] * f.cov(k, j)
			}
		}
	}
	for i := range Terms {
		for j := range i + 1 {
			p := gain[i][0]*(noise[0]*gain[j][0]+noise[1]*gain[j][1]) + gain[i][1]*(noise[1]*gain[j][0]+noise[2]*gain[j][1])
			for k := range Terms {
				p += half[i][k] * keep[j][k]
			}
			f.set(i, j, p)
		}
	}
}

// bound keeps each term within what is believed of it.
func (f *Fit) bound() {
	for t := range Terms {
		f.Terms[t] = max(-terms[t].bound, min(terms[t].bound, f.Terms[t]))
	}
}

// Ran is what the runs would be with one more solve so far off.
func (m *Model) Ran(off [2]float64, s Cov2) [4]float32 {
	out := m.Runs
	for i, z := range [2]float64{off[0] / math.Sqrt(s[0]), off[1] / math.Sqrt(s[2])} {
		z = max(-4, min(4, z)) // one wild solve is no run
		out[2*i] = float32(max(0, float64(out[2*i])+z-slack))
		out[2*i+1] = float32(max(0, float64(out[2*i+1])-z-slack))
	}
	return out
}

// calm is the longest run of a model that is calm, standard deviations. Choice: two solves in a row at twice the ordinary to one side.
const calm = 2

// Calm tells whether the model has learnt something and nothing of late was off to one side.
func (m *Model) Calm() bool { return m.Count > 0 && Longest(m.Runs) <= calm }

// Longest is the longest of the runs.
func Longest(runs [4]float32) float64 {
	return float64(max(runs[0], runs[1], runs[2], runs[3]))
}
