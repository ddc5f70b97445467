package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// eyed is a rig that a person homed by its marks, whose pose goes by some source and whose mount's errors are well known: 0.02° each.
func eyed(t *testing.T, kind rig.SourceKind, sync rig.SyncKeeping) *night {
	t.Helper()
	r := newRig(rig.German, 48)
	r.Home = rig.DegAxes(-20, 40) // off the pole, where belief says too little
	r.Homing = rig.Homing{By: rig.ByPerson, Sigma: rig.DegAxes(1, 1)}
	r.Sources = []rig.Source{{Kind: kind, MotorSide: true, Sigma: rig.DegAxes(0.02, 0.02)}}
	r.Mount.Sync, r.Mount.NobodyElseSyncs = sync, true
	n := newNight(t, r)
	n.loose = true // a person's word may be wrong here
	n.byEye(r.Home, nil)
	m := pointing.New(pointing.MountOf(r), rig.Axes{})
	for k := range 24 {
		at := rig.DegAxes(float64(7*k)-80, float64(11*k%70)+10)
		m = m.Learnt(pointing.MountOf(r), at, rig.Axes{}, r.Chain.Direction(at))
	}
	m = m.Marked(pointing.Step{}, pointing.Step{})
	require.NotNil(t, m.Settled)
	n.s.Pointing = map[string]pointing.Model{"main": m}
	return n
}

// byEye: a person sees the axes at a pose.
func (n *night) byEye(at rig.Axes, sigma *rig.Axes) {
	n.t.Helper()
	n.n++
	h := question.Homing{ID: "eye" + string(rune('a'+n.n)), At: n.m.at, Person: "A. Nyman", Axes: at, Sigma: rig.DegAxes(1, 1)}
	if sigma != nil {
		h.Sigma, h.SigmaTold = *sigma, true
	}
	x := n.m.sample()
	n.take(Homed(n.w, n.s, h, &x))
	require.Equal(n.t, question.Known, n.state(), n.said())
}

// zero is how sure the zero of axis 1 is, in degrees.
func (n *night) zeroSigma() float64 {
	m := n.s.Pointing["main"]
	return m.Sigma(pointing.Index1).Deg()
}

// backHome goes out, is synced there, and comes home, where samples see it at rest.
func (n *night) backHome(sync float64) {
	n.t.Helper()
	n.tracked(-30, 50)
	if sync != 0 {
		n.syncOff(sync, sync)
	}
	n.toAxes(n.w.Rig.Home, false)
	n.m.wait(2 * time.Second)
	n.look()
}

// What counts, or belief less its syncs, came home when a person sees the marks: the zero is the one before. Each homing would else let solves that
// walk begin anew: slow poisoning went on by half a degree with each.
func TestHomeSeenAgainIsTheSameZero(t *testing.T) {
	for _, kind := range []rig.SourceKind{rig.MotorCount, rig.UnsyncedBelief, rig.Reckoned} {
		for _, keeping := range []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky, rig.KeptUnknown} {
			n := eyed(t, kind, keeping)
			require.Less(t, n.zeroSigma(), 0.08)
			n.backHome(0.3)
			sure := n.state() == question.Known // else belief stands for two places
			n.byEye(n.w.Rig.Home, nil)
			if !sure {
				require.Equal(t, rig.UnsyncedBelief, kind)
				require.Equal(t, rig.KeptUnknown, keeping)
				assert.Greater(t, n.zeroSigma(), 0.95)
				continue
			}
			assert.Less(t, n.zeroSigma(), 0.12, "%s, syncs %s: it came home", kind, keeping)
			assert.NotNil(t, n.s.Pointing["main"].Settled)

			n.backHome(0)
			far := rig.DegAxes(0, 0)
			n.byEye(n.w.Rig.Home, &far)
			n.backHome(0)
			doubtful := rig.DegAxes(0.8, 0.8)
			n.byEye(n.w.Rig.Home, &doubtful)
			assert.Greater(t, n.zeroSigma(), 0.7, "%s, syncs %s: whoever says how sure it is knows more", kind, keeping)
		}
	}
}

// Marks that the axes stand at while what counts stands elsewhere are another zero, by as much; and where nothing tells, they are as good as the
// person's word.
func TestHomeSeenElsewhereIsAnotherZero(t *testing.T) {
	for _, kind := range []rig.SourceKind{rig.MotorCount, rig.UnsyncedBelief, rig.Reckoned} {
		n := eyed(t, kind, rig.KeptOnAxes)
		n.tracked(-30, 50)
		n.m.axes.A1 += unit.Deg(0.6) // the clutch slips, and nobody sees it
		n.m.fault.A1 += unit.Deg(0.6)
		n.toAxes(n.w.Rig.Home, false)
		n.m.wait(2 * time.Second)
		n.look()
		n.byEye(n.w.Rig.Home, nil)
		assert.InDelta(t, 0.6, n.zeroSigma(), 0.1, kind)
	}

	model := eyed(t, rig.Reckoned, rig.KeptInModel)
	model.toAxes(rig.DegAxes(-30, 50), false)
	model.toAxes(model.w.Rig.Home, false)
	model.m.wait(2 * time.Second)
	model.look()
	model.byEye(model.w.Rig.Home, nil)
	assert.Greater(t, model.zeroSigma(), 0.95, "a mount with a model of its own tells nothing")

	restarted := eyed(t, rig.MotorCount, rig.KeptOnAxes)
	restarted.backHome(0)
	x := restarted.m.sample()
	restarted.take(Acted(restarted.w, restarted.s, Act{Kind: PowerLost, Person: "A. Nyman"}, &x))
	restarted.byEye(restarted.w.Rig.Home, nil)
	assert.Greater(t, restarted.zeroSigma(), 0.95, "the counts lost their reference")
}

// What a person states between two homings is another zero; the marks are what they were.
func TestMarksAreWhatTheyWere(t *testing.T) {
	n := eyed(t, rig.MotorCount, rig.KeptOnAxes)
	n.tracked(-30, 50)
	n.byEye(n.m.axes.Add(rig.DegAxes(0.7, 0.4)), nil)
	assert.Greater(t, n.zeroSigma(), 0.65, "stated elsewhere than the counts are")
	n.toAxes(n.w.Rig.Home, false)
	n.m.wait(2 * time.Second)
	n.look()
	n.byEye(n.w.Rig.Home, nil)
	assert.Less(t, n.zeroSigma(), 0.1)
}

// What was learnt by one wrong word is open by as much as the next differs from it, though both together come back to the marks; and a model that
// begins at the marks knows that it did.
func TestWordsThatDiffer(t *testing.T) {
	n := eyed(t, rig.MotorCount, rig.KeptOnAxes)
	n.tracked(-30, 50)
	n.byEye(n.m.axes.Add(rig.DegAxes(0.7, 0.4)), nil)
	m := n.s.Pointing["main"]
	for k := range 12 { // it learns by that
		at := rig.DegAxes(float64(7*k)-40, float64(11*k%50)+10)
		m = m.Learnt(pointing.MountOf(n.w.Rig), at, rig.Axes{}, n.w.Rig.Chain.Direction(at.Sub(rig.DegAxes(0.7, 0.4))))
	}
	n.s.Pointing["main"] = m
	require.Less(t, n.zeroSigma(), 0.15)
	n.byEye(n.m.axes, nil)
	assert.Greater(t, n.zeroSigma(), 0.6)

	fresh := eyed(t, rig.MotorCount, rig.KeptOnAxes)
	delete(fresh.s.Pointing, "main")
	began := PointingModel(fresh.w.Rig, fresh.s, "main")
	assert.True(t, began.OnMarks)
	assert.False(t, began.OnSensor)
	fresh.tracked(-30, 50)
	fresh.byEye(fresh.m.axes, nil)
	began = PointingModel(fresh.w.Rig, fresh.s, "main")
	assert.False(t, began.OnMarks, "stated elsewhere")
}

// Nothing tells where the axes came to: an old sample, one of another run, belief that others may sync, a source that is not trusted any more.
func TestNothingTellsThatItCameHome(t *testing.T) {
	opened := func(kind rig.SourceKind, change func(*night)) {
		t.Helper()
		n := eyed(t, kind, rig.KeptOnAxes)
		n.backHome(0)
		change(n)
		n.byEye(n.w.Rig.Home, nil)
		assert.Greater(t, n.zeroSigma(), 0.9)
	}
	opened(rig.MotorCount, func(n *night) { n.m.wait(20 * time.Minute) })
	opened(rig.MotorCount, func(n *night) { n.s.Sample = ptrTo(*n.s.Sample); n.s.Sample.RunMark = "another" })
	opened(rig.Reckoned, func(n *night) { n.w.Rig.Mount.NobodyElseSyncs = false })
	opened(rig.Reckoned, func(n *night) { n.s.Parted = map[rig.SourceKind]string{rig.UnsyncedBelief: "it did not move"} })
	opened(rig.MotorCount, func(n *night) { n.s.Sample = ptrTo(*n.s.Sample); n.s.Sample.Doing = question.Moving })
}

func ptrTo[T any](v T) *T { return &v }

// Pictures in doubt outlive a homing that moved nothing, and no other.
func TestPicturesInDoubtOutliveAHomingThatMovedNothing(t *testing.T) {
	doubted := func() *night {
		n := eyed(t, rig.MotorCount, rig.KeptOnAxes)
		n.tracked(-30, 50)
		for _, how := range []func(*question.JudgedSolve){
			func(*question.JudgedSolve) {},
			func(j *question.JudgedSolve) { j.Good = false },
			func(j *question.JudgedSolve) { j.Against, j.Agreed = false, true },
		} {
			j := n.solved(0, 0.5)
			j.Against = true
			how(&j)
			n.take(Evidence(n.w, n.s, j))
		}
		n.toAxes(n.w.Rig.Home, false)
		n.m.wait(2 * time.Second)
		n.look()
		return n
	}
	n := doubted()
	n.byEye(n.w.Rig.Home, nil)
	require.Len(t, n.s.Before, 1, "of those that were good and against the pose")
	assert.Empty(t, n.s.Solves)
	n.backHome(0)
	n.byEye(n.w.Rig.Home, nil)
	assert.Len(t, n.s.Before, 1, "and again")
	settled := n.solved(0, 0)
	settled.Verdict, settled.Agreed = question.Accepted, true
	s, _ := Evidence(n.w, n.s, settled)
	assert.Empty(t, s.Before, "one was accepted since")
	later := doubted()
	later.take(Evidence(later.w, later.s, settled))
	later.byEye(later.w.Rig.Home, nil)
	assert.Empty(t, later.s.Before, "and none is taken up again by a homing")
	sure := doubted()
	said := rig.DegAxes(1, 1)
	sure.byEye(sure.w.Rig.Home, &said)
	assert.Empty(t, sure.s.Before, "the marks are other ones")
	for _, act := range []ActKind{TripodMoved, PolarAxisAdjusted, PayloadChanged, ClockSet, SiteSet} {
		x := n.m.sample()
		s, _ := Acted(n.w, n.s, Act{Kind: act, Person: "A. Nyman"}, &x)
		assert.Empty(t, s.Before, act)
	}

	moved := doubted()
	moved.byEye(moved.w.Rig.Home.Add(rig.DegAxes(0.5, 0)), nil)
	assert.Empty(t, moved.s.Before, "the zero is another one")

	many := doubted()
	for range 40 {
		many.s.Before = append(many.s.Before, many.solved(0, 0.5))
	}
	many.byEye(many.w.Rig.Home, nil)
	assert.Len(t, many.s.Before, mostBefore)
}
