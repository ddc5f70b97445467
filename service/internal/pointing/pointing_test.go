package pointing

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

func mounts() []Mount {
	var out []Mount
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		for _, lat := range []float64{52, -31, 3} {
			c := rig.NewChain(k, unit.Deg(lat), rig.Tilt{}, vec{}, 0)
			out = append(out, Mount{Kind: k, Chain: &c})
		}
	}
	return out
}

func somewhere(g *rand.Rand) rig.Axes {
	return rig.DegAxes(180*g.Float64()-90, 140*g.Float64()-70)
}

// truth draws errors of a size that a mount may have.
func truth(g *rand.Rand, times float64) (f Fit) {
	for t := range Terms {
		f.Terms[t] = unit.Angle(times*g.NormFloat64()) * terms[t].sigma
	}
	return f
}

// What a little of a term does is what the sight does when the term is changed by a little.
func TestSlopesAreThoseOfTheSight(t *testing.T) {
	g := rand.New(rand.NewPCG(5, 1))
	const step = 1e-6
	for _, m := range mounts() {
		for range 40 {
			f, pose := truth(g, 0.05), somewhere(g)
			v := f.At(m, pose)
			for term := range Terms {
				up, down := f, f
				up.Terms[term] += step
				down.Terms[term] -= step
				d := up.sight(m, pose).Sub(down.sight(m, pose)).Scale(1 / (2 * step))
				assert.InDelta(t, d.Dot(v.across), v.slopes[0][term], 0.003, "%s of a %s at %s, across", term.Name(), m.Kind, pose)
				assert.InDelta(t, d.Dot(v.along), v.slopes[1][term], 0.003, "%s of a %s at %s, along", term.Name(), m.Kind, pose)
			}
		}
	}
}

// Where single errors put the tube, as any handbook has it (derived by hand for the meridian).
func TestSingleErrors(t *testing.T) {
	c := rig.NewChain(rig.German, unit.Deg(50), rig.Tilt{}, vec{}, 0)
	m := Mount{Kind: rig.German, Chain: &c}
	for _, x := range []struct {
		term          Term
		pose          rig.Axes
		size          unit.Angle
		across, along float64 // arcminutes
	}{
		{Index1, rig.DegAxes(-90, 90), unit.Degree, -60, 0},       // on the equator a turn of axis 1 is all across, toward -axis 2
		{Index1, rig.DegAxes(-90, 30), unit.Degree, -30, 0},       // half of it 30° from the pole
		{Index2, rig.DegAxes(-90, 30), unit.Degree, 0, 60},        // all along
		{Cone, rig.DegAxes(-90, 90), unit.Degree, 60, 0},          // toward axis 2, wherever
		{Cone, rig.DegAxes(20, 0), unit.Degree, 60, 0},            // at the pole too
		{Square, rig.DegAxes(-90, 90), unit.Degree, 0, 0},         // nothing on the equator
		{Square, rig.DegAxes(-90, 0), unit.Degree, -60, 0},        // all of it at the pole
		{Tube, rig.DegAxes(-90, 40), 10 * unit.Arcminute, 0, 0},   // at the zenith the tube stands
		{Tube, rig.DegAxes(-90, 130), 10 * unit.Arcminute, 0, 10}, // level in the south it falls in full, away from the pole
	} {
		var f Fit
		f.Terms[x.term] = x.size
		seen, v := f.sight(m, x.pose), (&Fit{}).At(m, x.pose)
		off := v.Off(seen)
		assert.InDelta(t, x.across, unit.Angle(off[0]).Arcmin(), 0.3, "%s at %s, across", x.term.Name(), x.pose)
		assert.InDelta(t, x.along, unit.Angle(off[1]).Arcmin(), 0.3, "%s at %s, along", x.term.Name(), x.pose)
	}
}

// E12 of the project's published values.
func TestMahalanobis(t *testing.T) {
	assert.InDelta(t, 3, Cov2{4, 2, 3}.D2([2]float64{2, -1}), 1e-12)
	assert.True(t, math.IsInf(Cov2{}.D2([2]float64{1, 1}), 1), "no scatter excuses nothing")
	assert.True(t, math.IsInf(Cov2{math.NaN(), 0, 1}.D2([2]float64{1, 1}), 1))
}

func TestWithin(t *testing.T) {
	c := Cov2{9, 0, 1}.Within(2)
	assert.InDelta(t, 4, c[0], 1e-12)
	assert.InDelta(t, 1, c[2], 1e-12, "the narrow way stays as it is")
	c = Cov2{5, 4, 5}.Within(2) // 9 and 1, across the middle
	assert.InDeltaSlice(t, []float64{2.5, 1.5, 2.5}, c[:], 1e-12)
	assert.Equal(t, Cov2{1, 0.5, 1}, Cov2{1, 0.5, 1}.Within(2), "small enough already")
}

// observation is one solve of a night.
type observation struct {
	pose, sigma rig.Axes
	seen        vec
}

func nightOf(g *rand.Rand, m Mount, f *Fit, n int, scatter float64) []observation {
	var out []observation
	for range n {
		o := observation{pose: somewhere(g)}
		v := f.At(m, o.pose)
		o.seen = v.Sight.Add(v.across.Scale(scatter * g.NormFloat64())).Add(v.along.Scale(scatter * g.NormFloat64())).Unit()
		out = append(out, o)
	}
	return out
}

// leastSquares is the direct fit of all solves at once, priors as rows of their own, by QR (gonum mat.Dense.Solve): terms and covariance.
// Nothing of the sequential fit is used; the slopes are tried, not derived, about no errors at all.
func leastSquares(m Mount, all []observation) (terms []float64, cov *mat.Dense) {
	a, b := equations(m, all)
	x, normal := mat.NewVecDense(int(Terms), nil), mat.NewDense(int(Terms), int(Terms), nil)
	if err := x.SolveVec(a, b); err != nil {
		panic(err)
	}
	normal.Mul(a.T(), a)
	cov = mat.NewDense(int(Terms), int(Terms), nil)
	if err := cov.Inverse(normal); err != nil {
		panic(err)
	}
	return x.RawVector().Data, cov
}

// equations are two for each solve and one for each prior, each over its standard deviation.
func equations(m Mount, all []observation) (*mat.Dense, *mat.VecDense) {
	const step = 1e-6
	rows := 2*len(all) + int(Terms)
	a, b := mat.NewDense(rows, int(Terms), nil), mat.NewVecDense(rows, nil)
	var none Fit
	for i, o := range all {
		v := none.At(m, o.pose)
		for t := range Terms {
			var up Fit
			up.Terms[t] = step
			d := up.sight(m, o.pose).Sub(v.Sight).Scale(1 / step)
			a.Set(2*i, int(t), d.Dot(v.across)/float64(misfit))
			a.Set(2*i+1, int(t), d.Dot(v.along)/float64(misfit))
		}
		off := v.Off(o.seen)
		b.SetVec(2*i, off[0]/float64(misfit))
		b.SetVec(2*i+1, off[1]/float64(misfit))
	}
	prior := New(m, rig.Axes{})
	for t := range Terms {
		a.Set(2*len(all)+int(t), int(t), 1/float64(prior.Sigma(t)))
	}
	return a, b
}

// One solve after the other gives what all of them at once give: the terms within a tenth of their uncertainty, the uncertainty within a
// hundredth. Errors are small here, where the problem is a linear one.
func TestAgreesWithLeastSquares(t *testing.T) {
	g := rand.New(rand.NewPCG(9, 2))
	for _, mount := range mounts() {
		f := truth(g, 0.02)
		all := nightOf(g, mount, &f, 60, float64(misfit)/6) // no solve far enough off to be counted less
		m := New(mount, rig.Axes{})
		for _, o := range all {
			m = m.Learnt(mount, o.pose, o.sigma, o.seen)
		}
		want, cov := leastSquares(mount, all)
		for term := range Terms {
			sigma := math.Sqrt(cov.At(int(term), int(term)))
			assert.InDelta(t, want[term], float64(m.Terms[term]), 0.1*sigma, "%s of a %s", term.Name(), mount.Kind)
			for other := range term + 1 {
				most := sigma * math.Sqrt(cov.At(int(other), int(other)))
				assert.InDelta(t, cov.At(int(term), int(other)), m.cov(term, other), 0.01*most, "%s with %s of a %s", term.Name(), other.Name(), mount.Kind)
			}
		}
	}
}

// A mount of ordinary errors is learnt: what is expected comes within arcminutes, as surely as the fit says, and a term that this night
// cannot tell stays as unsure as it was.
func TestTightensHonestly(t *testing.T) {
	g := rand.New(rand.NewPCG(11, 3))
	far, count, sum := 0, 0, 0.0
	for range 30 {
		for _, mount := range mounts() {
			f := truth(g, 0.7)
			m := New(mount, rig.Axes{})
			for _, o := range nightOf(g, mount, &f, 25, float64(misfit)/2) {
				m = m.Learnt(mount, o.pose, o.sigma, o.seen)
			}
			require.True(t, m.Finite())
			for range 10 {
				pose := somewhere(g)
				v := m.At(mount, pose)
				off := v.Off(f.sight(mount, pose))
				d2 := v.Scatter.Plus(Misfit()).D2(off)
				sum += unit.Angle(math.Hypot(off[0], off[1])).Arcmin()
				if count++; d2 > 13.8 {
					far++
				}
			}
		}
	}
	assert.Less(t, sum/float64(count), 3.0, "arcminutes off on average")
	assert.LessOrEqual(t, float64(far), 0.001*float64(count)+3, "as sure as it says: p .001")
	alt := mounts()[6]
	m := New(alt, rig.Axes{})
	for range 20 {
		m = m.Learnt(alt, rig.DegAxes(30, 45), rig.Axes{}, alt.Chain.Direction(rig.DegAxes(30, 45)))
	}
	assert.Greater(t, m.Sigma(Index2)/terms[Index2].sigma, unit.Angle(0.4), "one place tells index, lean and flexure together, not apart")
	assert.InDelta(t, 4, m.Sigma(Shaft).Arcmin(), 1e-3, "an alt-azimuth's arms stand upright: nothing is learnt of them")
}

// A false solve pulls little: one of 400 standard deviations no more than one of two would.
func TestOneFalseSolvePullsLittle(t *testing.T) {
	g := rand.New(rand.NewPCG(13, 4))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 25, float64(misfit)/3) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	pose := rig.DegAxes(-40, 50)
	before := m.At(mount, pose)
	after := m.Learnt(mount, pose, rig.Axes{}, mount.Chain.Direction(rig.DegAxes(-40, 70)))
	moved := before.Sight.Angle(after.At(mount, pose).Sight)
	assert.Less(t, moved.Arcmin(), 3.0)
	assert.Positive(t, moved.Arcmin())
}

// What many small steps to one side add up to is seen by the runs and by the settled fit, and is calm again after an act.
func TestWalkIsSeen(t *testing.T) {
	g := rand.New(rand.NewPCG(17, 5))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 40, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	require.NotNil(t, m.Settled)
	assert.Less(t, Longest(m.Runs), 5.0, "an ordinary night runs nowhere")
	pose := rig.DegAxes(-40, 50)
	worst, walked := 0.0, 0.0
	for k := range 40 {
		truly := f.At(mount, pose)
		seen := truly.Sight.Add(truly.along.Scale(float64(k) * float64(unit.Arcminute))).Unit()
		v := m.Settled.At(mount, pose)
		walked = max(walked, math.Sqrt(v.Scatter.Plus(Misfit()).D2(v.Off(seen))))
		m = m.Learnt(mount, pose, rig.Axes{}, seen)
		worst = max(worst, Longest(m.Runs))
	}
	assert.Greater(t, worst, 8.0)
	assert.Greater(t, walked, 5.0)
	calm := m.Turned()
	assert.Nil(t, calm.Settled)
	assert.Zero(t, Longest(calm.Runs))
	assert.InDelta(t, 30, calm.Sigma(TiltA).Arcmin(), 0.01)
	assert.Less(t, calm.Sigma(Cone), terms[Cone].sigma, "what the act cannot have changed stays known")
}

func TestModelIsOfItsMount(t *testing.T) {
	a, b := mounts()[0], mounts()[1]
	m := New(a, rig.Axes{})
	assert.True(t, m.Of(a))
	assert.False(t, m.Of(b))
	m.Terms[Cone] = unit.Angle(math.NaN())
	assert.False(t, m.Of(a))
}

// Terms stay within their bounds, whatever comes.
func TestTermsAreBounded(t *testing.T) {
	mount := mounts()[0]
	m := New(mount, rig.Axes{})
	for range 400 {
		m = m.Learnt(mount, rig.DegAxes(-40, 50), rig.Axes{}, mount.Chain.Direction(rig.DegAxes(100, -60)))
	}
	require.True(t, m.Finite())
	for term := range Terms {
		assert.LessOrEqual(t, m.Terms[term].Abs(), terms[term].bound, term.Name())
	}
}

// A homing does not let a walk begin anew: at the sensor what had settled still tells a solve half a degree off; after a person's word only as far
// as that word goes, and at the sensor again as before.
func TestHomingKeepsWhatHadSettled(t *testing.T) {
	g := rand.New(rand.NewPCG(23, 6))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	m.OnSensor = true
	for _, o := range nightOf(g, mount, &f, 40, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	pose := rig.DegAxes(-40, 50)
	walked := func(m Model, at rig.Axes) float64 {
		require.NotNil(t, m.Settled)
		v, within := m.Settled.Walked(mount, at, unit.Degree/3)
		truly := f.At(mount, pose)
		seen := truly.Sight.Add(truly.along.Scale(float64(unit.Degree / 2))).Unit()
		return math.Sqrt(within.Plus(Misfit()).D2(v.Off(seen)))
	}
	small := rig.DegAxes(0.02, 0.02)
	assert.Greater(t, walked(m, pose), 5.0)
	assert.Greater(t, walked(m.Sensed(small), pose), 5.0, "sensed again")
	unknown := m.Stated(Step{Axes: rig.DegAxes(1, 1)})
	assert.Less(t, walked(unknown, pose), 5.0, "a person's word is good to three degrees")
	assert.Greater(t, walked(unknown.Sensed(small), pose), 5.0)
	assert.Nil(t, m.Turned().Settled, "an act says that it changed")
	assert.Nil(t, unknown.Turned().AtSensor.Settled)

	m.OnSensor, m.OnMarks = false, true
	for _, sigma := range []rig.Axes{rig.DegAxes(1, 1), rig.DegAxes(3, 3)} { // what an eye opened is gone with the sensor's zero
		eye := m.Marked(Step{Axes: sigma, Anew: true}, Step{})
		assert.Less(t, walked(eye, pose), 1.0)
		assert.InDelta(t, walked(m.Sensed(small), pose), walked(eye.Sensed(small), pose), 1e-3)
	}
}

// Marks are the same marks, whatever was stated between; an act loosens what was learnt at them too; a sensor is another zero.
func TestMarksKeepWhatWasLearntAtThem(t *testing.T) {
	g := rand.New(rand.NewPCG(23, 7))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 40, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	sure := m.Sigma(Index1)
	at := m.Marked(Step{Axes: rig.DegAxes(0.02, 0.02)}, Step{})
	assert.True(t, at.OnMarks)
	stated := at.Stated(Step{Axes: rig.DegAxes(1, 1)})
	assert.Greater(t, stated.Sigma(Index1).Deg(), 0.9)
	assert.True(t, stated.Trusted())
	stated.Settled = nil
	assert.True(t, stated.Trusted(), "at the marks it had settled")
	assert.Equal(t, at.Fit.Terms, stated.Marked(Step{Axes: rig.DegAxes(1, 1)}, Step{}).Fit.Terms)
	back := stated.Marked(Step{Axes: rig.DegAxes(1, 1)}, Step{})
	assert.InDelta(t, at.Sigma(Index1).Deg(), back.Sigma(Index1).Deg(), 1e-4)
	assert.NotNil(t, back.Settled)
	assert.Less(t, sure, unit.Deg(0.1))

	turned := stated.Turned()
	require.NotNil(t, turned.AtMarks)
	assert.Nil(t, turned.AtMarks.Settled)
	assert.InDelta(t, 0.5, turned.AtMarks.Sigma(TiltB).Deg(), 1e-3, "the tripod moved under the marks too")
	assert.Nil(t, stated.Sensed(rig.DegAxes(0.02, 0.02)).AtMarks)
	broken := stated
	broken.AtMarks = &Kept{Fit: Fit{Home: rig.Axes{A1: unit.Angle(math.NaN())}}}
	assert.False(t, broken.Finite())
}

// Homings scatter by a source's roundness, which is nothing to learn: learnt anew after each of them, solves that lie off by what just passes walked the
// settled fit by a degree and a half in two dozen nights.
func TestHomingsThatScatterTeachNoWalk(t *testing.T) {
	g := rand.New(rand.NewPCG(23, 9))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 60, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	pose := rig.DegAxes(-40, 50)
	before := m.Settled.At(mount, pose).Sight
	for range 24 {
		m = m.Marked(Step{Axes: rig.DegAxes(0.07, 0.07)}, Step{})
		require.False(t, m.Learns(mount, pose))
		for range 12 {
			v := m.Settled.At(mount, pose)
			m = m.Learnt(mount, pose, rig.Axes{}, v.Sight.Add(v.along.Scale(float64(12*unit.Arcminute))).Unit())
		}
	}
	assert.Less(t, before.Angle(m.Settled.At(mount, pose).Sight).Arcmin(), 1.0)
	other := m.Marked(Step{Axes: rig.DegAxes(0.5, 0.5)}, Step{})
	assert.True(t, other.Learns(mount, pose), "another zero has to be learnt")
}

// A shift that two pictures told is taken by the fit, and the settled one stands: against it all that was ever taken counts as one allowance, so that
// walks in shifts end.
func TestShiftsTakenLeaveWhatHadSettled(t *testing.T) {
	g := rand.New(rand.NewPCG(23, 8))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 40, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	m.Runs = [4]float32{1, 1, 1, 1}
	kept := *m.Settled
	twice := m.Shifted(8 * unit.Arcminute).Shifted(4 * unit.Arcminute)
	require.NotNil(t, twice.Settled)
	assert.Equal(t, kept, *twice.Settled)
	assert.Equal(t, [4]float32{}, twice.Runs)
	assert.InDelta(t, 12, twice.Taken.Arcmin(), 1e-9)
	assert.Greater(t, twice.Sigma(Cone), m.Sigma(Cone))

	off := [2]float64{float64(3 * unit.Arcminute), float64(-4 * unit.Arcminute)}
	assert.Equal(t, off, m.Untaken(off), "nothing was taken")
	assert.Equal(t, [2]float64{}, twice.Untaken(off), "5′ of 12′")
	twice.AtSensor, twice.AtMarks = m.kept(), nil
	wide := twice.Shifted(6 * unit.Arcminute)
	assert.Greater(t, wide.AtSensor.Sigma(Cone), m.Sigma(Cone), "what is kept of other zeros moved too")
	assert.Equal(t, m.Sigma(Cone), twice.AtSensor.Sigma(Cone), "and is not shared")
	assert.Equal(t, m.Count, twice.AtSensor.Count)

	far := twice.Untaken([2]float64{float64(12 * unit.Arcminute), float64(-16 * unit.Arcminute)})
	assert.InDelta(t, 8*0.6, unit.Angle(far[0]).Arcmin(), 1e-9, "8′ of 20′ are over")
	assert.InDelta(t, -8*0.8, unit.Angle(far[1]).Arcmin(), 1e-9)
}

// Where the settled fit is sure, no later solve moves it: else it would walk with what it is to see. Where it is not, it learns.
func TestSettledFitLearnsOnlyWhereItIsNotSure(t *testing.T) {
	g := rand.New(rand.NewPCG(29, 7))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.Axes{})
	for _, o := range nightOf(g, mount, &f, 40, float64(misfit)/2) {
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	pose, small := rig.DegAxes(-40, 50), rig.DegAxes(0.02, 0.02)
	truly := f.At(mount, pose)
	off := func(by unit.Angle) vec { return truly.Sight.Add(truly.along.Scale(float64(by))).Unit() }
	before := m.Settled.At(mount, pose).Sight
	walked := m
	for k := range 40 {
		walked = walked.Learnt(mount, pose, small, off(unit.Angle(k)*unit.Arcminute))
	}
	assert.Greater(t, walked.At(mount, pose).Sight.Angle(before).Arcmin(), 8.0, "the fit follows a walk")
	assert.Zero(t, walked.Settled.At(mount, pose).Sight.Angle(before), "what had settled does not")
	assert.True(t, m.Vouches(mount, pose, truly.Sight, 10*unit.Arcminute))
	assert.False(t, m.Vouches(mount, pose, off(15*unit.Arcminute), 10*unit.Arcminute))

	stated := m.Stated(Step{Axes: rig.DegAxes(1, 1)}) // the readings count from another zero, half a degree off
	assert.False(t, stated.Vouches(mount, pose, truly.Sight, 10*unit.Arcminute), "a person's word is good to three degrees")
	kept := stated.Settled
	for range 4 {
		stated = stated.Learnt(mount, pose, small, off(unit.Degree/2))
	}
	assert.True(t, stated.Vouches(mount, pose, off(unit.Degree/2), 10*unit.Arcminute), "learnt anew")
	assert.False(t, stated.Vouches(mount, pose, off(unit.Degree), 10*unit.Arcminute))
	assert.Less(t, kept.At(mount, pose).Sight.Angle(before).Arcmin(), 1.0, "a model that was held elsewhere stays as it was")
}

// Once much was learnt the doubt of a pose excuses minutes, before that all that it is.
func TestDoubtfulPoseExcusesLittleOnceSettled(t *testing.T) {
	mount, pose, wide := mounts()[0], rig.DegAxes(-40, 50), rig.DegAxes(0.7, 0.7)
	m := New(mount, rig.Axes{})
	v := m.At(mount, pose)
	assert.Equal(t, v.Axes(wide), m.Doubt(&v, wide))
	m.Settled = &m.Fit
	c := m.Doubt(&v, wide)
	assert.InDelta(t, 2, unit.Angle(math.Sqrt(c[2])).Arcmin(), 1e-6)
	m.Settled, m.Quiet = nil, quiet
	assert.Equal(t, c, m.Doubt(&v, wide), "a pose that blurs keeps a model from settling; solves in a row within minutes show the same")
	narrow := rig.DegAxes(0.01, 0.01)
	assert.Equal(t, v.Axes(narrow), m.Doubt(&v, narrow))
}

// What fewer solves taught than settle a fit may be mostly false.
func TestLittle(t *testing.T) {
	m := New(mounts()[0], rig.Axes{})
	for _, n := range []int{0, settling - 1, settling} {
		m.Count = n
		assert.Equal(t, n < 8, m.Little(), n)
	}
}

// A model knows where the tube looks that settled, or that three solves made as sure there as one that settles must be.
func TestKnows(t *testing.T) {
	mount, pose := mounts()[0], rig.DegAxes(-40, 50)
	m := New(mount, rig.Axes{})
	knows := func(each unit.Angle) bool {
		v := m.At(mount, pose)
		v.Scatter = Cov2{sq(each), 0, sq(each)}
		return m.Knows(&v)
	}
	m.Count = 2
	assert.False(t, knows(0))
	m.Count = 3
	assert.True(t, knows(5.99*unit.Arcminute))
	assert.False(t, knows(6.01*unit.Arcminute))
	m.Settled = &m.Fit
	assert.True(t, knows(unit.Degree))
}

// A pose that blurs with every motion keeps no model from settling: it never did, and poison was learnt.
func TestBlurredPoseStillSettles(t *testing.T) {
	g := rand.New(rand.NewPCG(31, 8))
	mount := mounts()[0]
	f := truth(g, 0.3)
	m := New(mount, rig.DegAxes(1, 1))
	for k, o := range nightOf(g, mount, &f, 60, float64(misfit)/3) {
		o.sigma = rig.DegAxes(0.2, 0.2).Scale(math.Sqrt(float64(k%12 + 1)))
		m = m.Learnt(mount, o.pose, o.sigma, o.seen)
	}
	require.NotNil(t, m.Settled)
	m = m.Learnt(mount, rig.DegAxes(-40, 50), rig.Axes{}, mount.Chain.Direction(rig.DegAxes(-38, 50)))
	assert.Zero(t, m.Quiet)
}

// However often an axis is homed between two solves, where it stops scatters about one place: a night of holds, each with a homing, made a solve half a
// degree off believable.
func TestHomingsDoNotAddUp(t *testing.T) {
	home := rig.DegAxes(0.02, 0.03)
	m := New(mounts()[0], rig.DegAxes(0.1, 0.1))
	m.OnSensor = true
	m.Settled = &Fit{}
	once := m.Sensed(home)
	often := once
	for range 30 {
		often = often.Stated(Step{Axes: rig.DegAxes(1, 1)}).Sensed(home)
	}
	assert.Greater(t, once.Sigma(Index1), m.Sigma(Index1))
	assert.InDelta(t, once.Sigma(Index1).Deg(), often.Sigma(Index1).Deg(), 1e-6)
	assert.InDelta(t, 0.03, often.Settled.Sigma(Index2).Deg(), 1e-6)
	wider := often.Sensed(rig.DegAxes(0.02, 0.1))
	assert.InDelta(t, 0.1, wider.Settled.Sigma(Index2).Deg(), 1e-6, "a wider one counts in full, and no more")
	pose := rig.DegAxes(-40, 50)
	learnt := once.Learnt(mounts()[0], pose, home, mounts()[0].Chain.Direction(pose))
	again := learnt.Sensed(home)
	assert.Greater(t, again.Sigma(Index1), learnt.Sigma(Index1), "after a solve the next homing counts")
}

// After a homing a walk is remembered: no solve is held for it alone, but the model is not calm before solves lay where they are expected.
func TestHomingDoesNotCalm(t *testing.T) {
	mount, pose, home := mounts()[0], rig.DegAxes(-40, 50), rig.DegAxes(0.02, 0.02)
	m := New(mount, rig.Axes{})
	m.OnSensor, m.Count, m.Runs = true, 20, [4]float32{0, 12, 1, 0}
	m = m.Sensed(home)
	assert.Equal(t, [4]float32{0, remembered, 1, 0}, m.Runs)
	assert.False(t, m.Calm())
	for range 3 {
		m = m.Learnt(mount, pose, home, m.At(mount, pose).Sight)
	}
	assert.True(t, m.Calm())
	m.Runs[1] = 12
	m = m.Turned()
	assert.Zero(t, Longest(m.Runs), "an act says what changed")
}
