package facts_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// solved is an input with the rig tracking at a pose and a solve of the sky that lies off it by so much in axis terms.
func solved(t *testing.T, r *rig.Rig, at, off rig.Axes) facts.Input {
	t.Helper()
	start := evening.Add(-12 * time.Second)
	exposure := 4 * time.Second
	mid := start.Add(exposure / 2)
	m, err := moment(mid)
	require.NoError(t, err)
	track := func(d time.Duration) rig.Axes {
		return at.Add(rig.Axes{A1: unit.Angle(d.Seconds()) * question.SiderealRate})
	}
	// Where the tube looks at mid-exposure, through the air and back to the sky: written anew here from the sky room alone.
	seen := r.Chain.Direction(track(mid.Sub(evening)).Add(off))
	az, alt := frame.AzAlt(seen)
	v := frame.Horizon[frame.Rig](az, r.Air().True(alt))
	hour := frame.SiteFromHour[frame.Rig](r.Site.Lat).Inverse().Apply(v)
	ra, dec := m.ICRS(m.FromHour(hour, r.Site.Lon)).LonLat()

	in := standing(t, r, at, rig.Axes{}, question.Action{Kind: question.Sync, Solve: &question.Solve{
		Sky: question.Sky{RA: ra, Dec: dec, Frame: question.ICRS}, Start: start, Exposure: exposure, Optics: "main",
		Pixel: ptr(unit.Arcsec(1.55)), Width: ptr(unit.Deg(1.79)), Rotation: ptr(unit.Deg(90)), Mirrored: ptr(false), Matched: ptr(60),
		Residual: ptr(unit.Arcsec(0.8)), Radius: ptr(unit.Deg(180)), Picture: "p2",
	}})
	in.Snapshot.Rig.Sample.Doing = question.Tracking
	for _, before := range []time.Duration{20 * time.Second, time.Second} {
		when := evening.Add(-before)
		in.Snapshot.Rig.Recent = append(in.Snapshot.Rig.Recent, question.SampleMark{Time: when, Doing: question.Tracking, Axes: track(-before), Known: true})
	}
	return in
}

func TestOffsetFromTheExpectedDirection(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	for _, off := range []rig.Axes{{}, rig.DegAxes(0, 2.3), rig.DegAxes(1, 0), rig.DegAxes(0, -45)} {
		out := facts.Compute(solved(t, r, at, off))
		want := r.Chain.Direction(at).Angle(r.Chain.Direction(at.Add(off)))
		assert.InDelta(t, want.Arcmin(), number(t, out.Facts, "expected_offset_arcmin"), 0.05, "off by %v", off)
		// Nothing is known of the mount but what is ordinary, and the pose's own 0.02°: across, an index of a degree at this distance from
		// the pole, a cone of half, axes a tenth off the right angle, axis 1 half a degree either way, and the 2′ that terms leave out; along,
		// an index, axis 1, and flexure of 4′ or less. That of the two ways axis 1 leans is the same each way.
		dAcross, dAlong := off.A1.Deg()*r.Chain.Direction(at).Angle(r.Chain.Dir1).Sin(), off.A2.Deg()
		if off.A2.Abs() < unit.Deg(5) {
			vAcross, vAlong := 0.587+0.25+0.0041+0.25*0.413+0.25*0.5+0.0011, 1+0.25*0.55+0.0011
			assert.InEpsilon(t, 1+dAcross*dAcross/vAcross+dAlong*dAlong/vAlong, 1+number(t, out.Facts, "offset_d2"), 0.12)
		} else {
			assert.Greater(t, number(t, out.Facts, "offset_d2"), 1000.0)
		}
		require.NotNil(t, out.Facts["sync_is_first"].Truth)
		assert.True(t, *out.Facts["sync_is_first"].Truth)
		assert.InDelta(t, 0, number(t, out.Facts, "exposure_motion_arcsec"), 0.1)
		assert.InDelta(t, 8, number(t, out.Facts, "solve_age_s"), 1e-6)
	}
}

// What a sync does to belief in axis terms is the offset itself, less refraction, which this mount's map leaves out.
func TestJumpAndRecentring(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	out := facts.Compute(solved(t, r, at, rig.DegAxes(0, -45)))
	assert.InDelta(t, 45, number(t, out.Facts, "sync_jump_axis2_deg"), 0.1)
	assert.InDelta(t, 45, number(t, out.Facts, "end_spread_deg"), 0.1)
	require.Len(t, out.Ends, 2)
	assert.InDelta(t, 95, out.Ends[1].Axes.A2.Deg(), 0.1, "told to go back, the mount turns the other way")
}

// learntFrom is a rig's memory of accepted solves that all lay off by so much in axis terms, along arcs around a pose on its side.
func learntFrom(r *rig.Rig, at, off rig.Axes) (map[rig.Side]question.Offsets, map[string]pointing.Model) {
	mount := pointing.Mount{Kind: r.Kind, Chain: &r.Chain}
	m := pointing.New(mount, rig.DegAxes(0.02, 0.02))
	for _, by := range []rig.Axes{{}, rig.DegAxes(25, 0), rig.DegAxes(0, -20), rig.DegAxes(0, 15), {}} {
		m = m.Learnt(mount, at.Add(by), rig.DegAxes(0.02, 0.02), r.Chain.Direction(at.Add(by).Add(off)))
	}
	return map[rig.Side]question.Offsets{r.Kind.SideOf(at): {Axes: off, Count: 5}}, map[string]pointing.Model{"main": m}
}

// What was learnt moves the expectation and sharpens it.
func TestLearntOffsetsSharpen(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	in := solved(t, r, at, rig.DegAxes(0, 2.3))
	in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learntFrom(r, at, rig.DegAxes(0, 2))
	out := facts.Compute(in)
	assert.InDelta(t, 18, number(t, out.Facts, "expected_offset_arcmin"), 0.5)
	assert.InDelta(t, 18*18/(2*2+1.2*1.2+1.2*1.2), number(t, out.Facts, "offset_d2"), 5, "18′ at 2′ that the terms leave out, the pose's 0.02° and as much of what is learnt")
	in = solved(t, r, at, rig.DegAxes(0, 2.05))
	in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learntFrom(r, at, rig.DegAxes(0, 2))
	assert.Less(t, number(t, facts.Compute(in).Facts, "offset_d2"), 2.0)
}

// A rig that moved on after the picture is not known so well any more, but where it was at mid-exposure is: its speed makes no solve likelier
// (5,043,359 of the second opinion's questions).
func TestMovingOnMakesNoSolveLikelier(t *testing.T) {
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.DegAxes(0, 2.3))
	in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learntFrom(r, rig.DegAxes(-40, 50), rig.Axes{})
	still := facts.Compute(in)
	in.Snapshot.Rig.Recent[1].Time = evening.Add(-5 * time.Second)
	in.Snapshot.Rig.Sample.Doing = question.Moving
	moving := facts.Compute(in)
	assert.Greater(t, number(t, moving.Facts, "pose_sigma_axis2_deg"), 1.0)
	assert.Greater(t, number(t, still.Facts, "offset_d2"), 40.0)
	assert.InEpsilon(t, number(t, still.Facts, "offset_d2"), number(t, moving.Facts, "offset_d2"), 0.001)
}

// A second picture is independent only if it is another one, after a deliberate move of more than a field.
func TestSecondPicture(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	doubt := question.JudgedSolve{
		RequestID: "first", Picture: "p1", Mid: evening.Add(-5 * time.Minute), Optics: "main", Blind: true, Verdict: question.Refused, Good: true, Against: true,
		Side: rig.East, Pose: at.Add(rig.DegAxes(0, -3.6)), Solved: at.Add(rig.DegAxes(0, 41.4)), Field: unit.Deg(1.79),
	}
	lacking := func(change func(*question.JudgedSolve), off rig.Axes) (float64, []string) {
		in := solved(t, r, at, off)
		d := doubt
		if change != nil {
			change(&d)
		}
		in.Snapshot.Rig.Solves = []question.JudgedSolve{d}
		out := facts.Compute(in)
		return number(t, out.Facts, "pictures_lacking_count"), out.Facts["pictures_lacking_count"].About
	}
	n, _ := lacking(nil, rig.Axes{})
	assert.Zero(t, n, "two fields further on, it sides with the pose")
	n, _ = lacking(nil, rig.DegAxes(0, 45))
	assert.Zero(t, n, "two fields further on, it agrees with the picture in doubt")
	n, about := lacking(nil, rig.DegAxes(0, 20))
	assert.Equal(t, 1.0, n, "it agrees with neither")
	assert.Contains(t, about[0], "neither")
	n, about = lacking(func(d *question.JudgedSolve) { d.Pose = at.Add(rig.DegAxes(0, -1)) }, rig.Axes{})
	assert.Equal(t, 1.0, n, "one degree is less than a field")
	assert.Contains(t, about[0], "field")
	n, about = lacking(func(d *question.JudgedSolve) { d.Picture = "p2" }, rig.Axes{})
	assert.Equal(t, 1.0, n, "the same picture again")
	assert.Contains(t, about[0], "already judged")
}

// An offset that is all in hour angle is named as the clock that it looks like.
func TestHourAngleOffsetLooksLikeAClock(t *testing.T) {
	r := heron(t)
	out := facts.Compute(solved(t, r, rig.DegAxes(-40, 50), rig.DegAxes(15.041, 0)))
	assert.Contains(t, out.Facts["expected_offset_arcmin"].About, "looks like one hour: summer time or zone")
}

// What a solve leaves out is missing with the asker as the one who can supply it, unless the rig file says that its solver has none.
func TestFiguresLeftOut(t *testing.T) {
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.Axes{})
	v := in.Question.Action.Solve
	v.Pixel, v.Rotation, v.Mirrored, v.Matched, v.Residual, v.Radius = nil, nil, nil, nil, nil, nil
	names := []string{"scale_error_ratio", "rotation_error_deg", "mirrored_wrong", "matched_count", "residual_ratio", "hint_radius_deg"}
	out := facts.Compute(in)
	for _, n := range names {
		assert.NotEmpty(t, out.Facts[n].Missing, n)
		assert.Equal(t, "asker", out.Facts[n].Need, n)
	}
	lacking := *r
	lacking.Solver = rig.SolverFigures{NoScale: true, NoRotation: true, NoMirror: true, NoMatched: true, NoResidual: true, NoRadius: true}
	in.Rig = &lacking
	out = facts.Compute(in)
	for _, n := range names {
		assert.Empty(t, out.Facts[n].Missing, n)
		assert.Equal(t, facts.Absent, out.Facts[n].Origin, n)
	}
}

// Motion between the samples around an exposure leaves the pose at mid-exposure unknown, and names the interval.
func TestMotionDuringTheExposure(t *testing.T) {
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.Axes{})
	marks := in.Snapshot.Rig.Recent
	in.Snapshot.Rig.Recent = []question.SampleMark{marks[0], {Time: evening.Add(-10 * time.Second), Doing: question.Moving, Axes: marks[0].Axes}, marks[1]}
	out := facts.Compute(in)
	assert.Contains(t, out.Facts["exposure_motion_arcsec"].Missing, "the rig moved between")
	assert.NotEmpty(t, out.Facts["expected_offset_arcmin"].Missing)
	in.Snapshot.Rig.Recent = marks[:1]
	out = facts.Compute(in)
	assert.Contains(t, out.Facts["exposure_motion_arcsec"].Missing, "one is wanted before it and one after")
	assert.NotContains(t, out.Facts["exposure_motion_arcsec"].Missing, "take a picture", "one after it may still come")
	in.Snapshot.Rig.Recent = marks[1:]
	out = facts.Compute(in)
	assert.Contains(t, out.Facts["exposure_motion_arcsec"].Missing, "one is wanted before it and one after; the first sample on hand is of ")
	assert.Contains(t, out.Facts["exposure_motion_arcsec"].Missing, "take a picture later than that", "none before it can come")
	assert.Equal(t, out.Facts["exposure_motion_arcsec"].Missing, out.Facts["expected_offset_sharp_arcmin"].Missing)
}

// A sync of which nothing can be told says of every missing fact why, that of where recentring would lead too.
func TestSyncThatCannotBeJudgedSaysWhy(t *testing.T) {
	unseen, unbelieved := solved(t, heron(t), rig.DegAxes(-40, 50), rig.Axes{}), solved(t, heron(t), rig.DegAxes(-40, 50), rig.Axes{})
	unseen.Snapshot.Rig.Recent = nil
	s := *unbelieved.Snapshot.Rig.Sample
	s.Belief = nil
	unbelieved.Snapshot.Rig.Sample = &s
	assert.Contains(t, facts.Compute(unseen).Facts["end_spread_deg"].Missing, "no samples around the exposure")
	assert.Contains(t, facts.Compute(unbelieved).Facts["end_spread_deg"].Missing, "believes")
}

// settledFrom is what a rig learnt that settled.
func settledFrom(t *testing.T, r *rig.Rig, at rig.Axes) (map[rig.Side]question.Offsets, map[string]pointing.Model) {
	t.Helper()
	mount := pointing.MountOf(r)
	side, models := learntFrom(r, at, rig.Axes{})
	m := models["main"]
	for k := range 12 {
		by := rig.DegAxes(float64(6*k)-30, float64(7*k%5)*8-16)
		m = m.Learnt(mount, at.Add(by), rig.DegAxes(0.02, 0.02), r.Chain.Direction(at.Add(by)))
	}
	require.NotNil(t, m.Settled)
	models["main"] = m
	return side, models
}

// A solve is expected where the pointing knows to minutes where the tube looks, though it has not settled: within 10′ of there.
func TestExpectedBeforeThePointingSettled(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	expected := func(off float64, learnt bool) bool {
		in := solved(t, r, at, rig.DegAxes(0, off))
		all := defaults()
		all["sync/expected d2"] = 13.8
		in.Limits = all
		if learnt {
			in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learntFrom(r, at, rig.Axes{})
			m := in.Snapshot.Rig.Pointing["main"]
			require.Nil(t, m.Settled)
		}
		f := facts.Compute(in).Facts["solve_expected"]
		require.NotNil(t, f.Truth)
		return *f.Truth
	}
	assert.True(t, expected(0.05, true))
	assert.False(t, expected(0.2, true), "12′ off")
	assert.False(t, expected(0.05, false), "nothing was learnt")
}

// A pose that is only reckoned excuses no solve once many lay within minutes of what was expected: poisoning of two degrees was let pass by it, and
// stale pictures a degree off.
func TestReckonedPoseExcusesLittleOnceMuchWasLearnt(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	d2 := func(off rig.Axes) (float64, float64) {
		in := solved(t, r, at, off)
		in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = settledFrom(t, r, at)
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.7, 0.7)
		f := facts.Compute(in).Facts
		return number(t, f, "offset_d2"), number(t, f, "walk_sigma")
	}
	far, walked := d2(rig.DegAxes(0, 0.4))
	assert.Greater(t, far, 13.8, "24′ off")
	assert.Greater(t, walked, 4.0)
	near, still := d2(rig.DegAxes(0, 0.05))
	assert.Less(t, near, 2.0)
	assert.Less(t, still, 2.0)
}

// What a later sync takes back is not walked: belief that went out by three degrees, came back and goes out again is three degrees out, not six.
// One that brings belief nearer from elsewhere is counted against nobody.
func TestSyncsThatComeBackTakeBack(t *testing.T) {
	sum := func(syncs ...question.SyncDone) float64 {
		in := solved(t, heron(t), rig.DegAxes(-40, 50), rig.DegAxes(0, 1.5))
		in.Snapshot.Rig.Syncs = syncs
		return number(t, facts.Compute(in).Facts, "sync_sum_axis2_deg")
	}
	by := func(deg float64, nearer bool) question.SyncDone {
		return question.SyncDone{At: evening.Add(-time.Hour), Axes: rig.DegAxes(0, deg), Nearer: nearer}
	}
	assert.InDelta(t, 1.5, sum(), 0.1)
	assert.InDelta(t, 4.5, sum(by(3, false)), 0.1)
	assert.InDelta(t, 1.5, sum(by(3, false), by(-3, true)), 0.1)
	assert.InDelta(t, 3.5, sum(by(3, false), by(-1, true)), 0.1)
	assert.InDelta(t, 1.5, sum(by(-9, true)), 0.1, "a cold start that was mended")
	assert.InDelta(t, 1.5, sum(by(1, false), by(-9, true)), 0.1, "no more than others added")
	assert.InDelta(t, 4.5, sum(by(3, false), by(2, true)), 0.1, "nor does it add")
	assert.InDelta(t, 7.5, sum(by(3, false), by(3, false)), 0.1)
}

// Belief does not walk in turns of both axes: what a sync takes back on one axis, the other may not take up for nothing.
func TestSyncsDoNotWalkInTurns(t *testing.T) {
	in := solved(t, heron(t), rig.DegAxes(-40, 50), rig.Axes{})
	for range 3 { // each second one brings belief nearer by a tenth of a degree in all, and axis 2 farther
		in.Snapshot.Rig.Syncs = append(in.Snapshot.Rig.Syncs,
			question.SyncDone{At: evening.Add(-time.Hour), Axes: rig.DegAxes(2, 0)}, question.SyncDone{At: evening.Add(-time.Hour), Axes: rig.DegAxes(-2, 1.9), Nearer: true})
	}
	assert.InDelta(t, 5.7, number(t, facts.Compute(in).Facts, "sync_sum_axis2_deg"), 0.1)
}

// A picture that is older than the last motion is right of where the tube looked, and no sync for where it looks now, also where it was moved by a
// degree alone: that was let pass. Following the sky, or resting, is no motion.
func TestPictureThatTheTubeLeft(t *testing.T) {
	r := heron(t)
	left := func(change func(*facts.Input)) (bool, []string) {
		in := solved(t, r, rig.DegAxes(-40, 50), rig.Axes{})
		if change != nil {
			change(&in)
		}
		f := facts.Compute(in).Facts["picture_left"]
		require.NotNil(t, f.Truth)
		return *f.Truth, f.About
	}
	was, _ := left(nil)
	assert.False(t, was, "it follows the sky")
	was, about := left(func(in *facts.Input) {
		c := &in.Snapshot.Rig.Pose.Candidates[0]
		c.Axes = c.Axes.Add(rig.DegAxes(0, 1.2))
	})
	assert.True(t, was)
	assert.Equal(t, []string{"by 1.2°"}, about)
	was, _ = left(func(in *facts.Input) {
		c := &in.Snapshot.Rig.Pose.Candidates[0]
		c.Axes = c.Axes.Add(rig.DegAxes(0, 0.05))
	})
	assert.False(t, was, "3′ are within what guiding does")
	begun := func(before time.Duration, kind question.Kind, moved bool) bool {
		was, _ := left(func(in *facts.Input) {
			at := evening.Add(-before)
			in.Snapshot.Rig.Permit = &question.Permit{State: question.Ended, Moved: moved, BegunAt: &at, Action: question.Action{Kind: kind}}
		})
		return was
	}
	assert.True(t, begun(time.Second, question.Slew, true), "away and back since: the picture is of 10 s before")
	assert.False(t, begun(8*time.Second, question.Slew, true), "by clocks that may be 5 s apart it may be of after")
	assert.False(t, begun(time.Minute, question.Slew, true))
	assert.False(t, begun(time.Second, question.Track, true))
	assert.False(t, begun(time.Second, question.Jog, false), "nothing moved")
}

// What one field showed to be half a degree wrong is no less so on one of which little is known: a solve there that says the same is as far off. A
// picture that says something else, one of another camera, and one that lay only a little too far say nothing of it.
func TestWhatOneFieldShowedCountsOnAnother(t *testing.T) {
	r := heron(t)
	known, at := rig.DegAxes(-40, 50), rig.DegAxes(60, -50) // the other side: where cone and flexure turn over
	doubt := question.JudgedSolve{
		RequestID: "first", Picture: "p1", Mid: evening.Add(-9 * time.Minute), Optics: "main", Blind: true, Verdict: question.Held, Good: true, Against: true,
		Side: rig.East, Pose: known, Solved: known.Add(rig.DegAxes(0, 0.5)), Field: unit.Deg(1.79),
	}
	d2 := func(before bool, off rig.Axes, change func(*question.JudgedSolve)) float64 {
		in := solved(t, r, at, off)
		in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learntFrom(r, known, rig.Axes{})
		d := doubt
		if change != nil {
			change(&d)
		}
		if before {
			in.Snapshot.Rig.Before = []question.JudgedSolve{d}
		} else {
			in.Snapshot.Rig.Solves = []question.JudgedSolve{d}
		}
		return number(t, facts.Compute(in).Facts, "offset_d2")
	}
	same := rig.DegAxes(0, 0.5)
	alone := d2(true, same, func(d *question.JudgedSolve) { d.Optics = "guide" })
	assert.Less(t, alone, 13.8, "by itself it would pass")
	for _, before := range []bool{true, false} {
		assert.Greater(t, d2(before, same, nil), 30.0)
		assert.Less(t, d2(before, rig.DegAxes(0, -0.7), nil), 13.8, "it says something else")
		for name, change := range map[string]func(*question.JudgedSolve){
			"taken":      func(d *question.JudgedSolve) { d.Verdict = question.Accepted },
			"no good":    func(d *question.JudgedSolve) { d.Good = false },
			"it agreed":  func(d *question.JudgedSolve) { d.Against = false },
			"a little":   func(d *question.JudgedSolve) { d.Solved = known.Add(rig.DegAxes(0, 0.2)) },
			"of another": func(d *question.JudgedSolve) { d.Optics = "guide" },
		} {
			assert.InDelta(t, alone, d2(before, same, change), 1e-9, name)
		}
	}
}

// Where little is known a solve sides with the pose only if it lies nearer to what is expected than to what the picture in doubt says.
func TestSidingWhereLittleIsKnown(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	lacking := func(off rig.Axes) float64 {
		in := solved(t, r, at, off)
		from := at.Add(rig.DegAxes(0, -9))
		in.Snapshot.Rig.Solves = []question.JudgedSolve{{
			RequestID: "first", Picture: "p1", Mid: evening.Add(-5 * time.Minute), Optics: "main", Blind: true, Verdict: question.Refused, Good: true, Against: true,
			Side: rig.East, Pose: from, Solved: from.Add(rig.DegAxes(0, 3.5)), Field: unit.Deg(1.79),
		}}
		return number(t, facts.Compute(in).Facts, "pictures_lacking_count")
	}
	assert.Zero(t, lacking(rig.DegAxes(0, 1)), "1° from what is expected, 2.5° from what the other says")
	assert.Equal(t, 1.0, lacking(rig.DegAxes(0, 1.4)), "1.4° and 2.1°: nearer, and not by half")
	assert.Zero(t, lacking(rig.DegAxes(0, 3.5)), "it agrees with the other")
}

// What the mount would be told is held against the solve, whatever frames the two are given in, beside how far the optics look past the tube.
func TestGivenIsHeldAgainstTheSolve(t *testing.T) {
	at := rig.DegAxes(-40, 50)
	for name, c := range map[string]struct {
		given func(s, ofDate question.Sky) *question.Sky
		past  float64 // the optics look past the tube, degrees
		want  float64 // arcminutes
	}{
		"the solve":                     {func(question.Sky, question.Sky) *question.Sky { return nil }, 0, 0},
		"the same, of date":             {func(_, d question.Sky) *question.Sky { return &d }, 0, 0},
		"2.5° off in declination":       {func(s, _ question.Sky) *question.Sky { s.Dec += unit.Deg(2.5); return &s }, 0, 150},
		"of date, said to be ICRS":      {func(_, d question.Sky) *question.Sky { d.Frame = question.ICRS; return &d }, 0, -1},
		"by as much as the optics look": {func(s, _ question.Sky) *question.Sky { s.Dec -= unit.Deg(1); return &s }, 1, 0},
		"by half a degree more":         {func(s, _ question.Sky) *question.Sky { s.Dec -= unit.Deg(1.5); return &s }, 1, 30},
	} {
		in := solved(t, heron(t), at, rig.Axes{})
		if c.past != 0 {
			r := *in.Rig
			r.Optics = slices.Clone(r.Optics)
			for i := range r.Optics {
				r.Optics[i].East, r.Optics[i].North = unit.Deg(0.6*c.past), unit.Deg(-0.8*c.past)
			}
			in.Rig = &r
		}
		s := in.Question.Action.Solve.Sky
		m, err := moment(in.Snapshot.At)
		require.NoError(t, err)
		ra, dec := m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
		if c.want < 0 { // by how much the two frames' numbers differ
			c.want = frame.FromLonLat[frame.ICRS](s.RA, s.Dec).Angle(frame.FromLonLat[frame.ICRS](ra, dec)).Arcmin()
			require.Greater(t, c.want, 10.0)
		}
		in.Question.Action.Given = c.given(s, question.Sky{RA: ra, Dec: dec, Frame: question.OfDate})
		assert.InDelta(t, c.want, number(t, facts.Compute(in).Facts, "given_off_arcmin"), 0.5, name)
	}
}

// What the readings of encoders scatter by is no motion of a mount that tracks and believes that it does; what its belief moves by is, and so is what
// the encoders cannot explain. Nothing is excused of counts, which do not scatter, nor where the mount says nothing of its belief.
func TestScatterOfEncodersIsNoMotion(t *testing.T) {
	at := rig.DegAxes(-40, 50)
	motion := func(source rig.SourceKind, off, believed float64, change func(a, b *question.SampleMark)) float64 {
		r := *heron(t)
		r.Sources = []rig.Source{{Kind: source, Sigma: rig.DegAxes(0.02, 0.02)}}
		in := solved(t, &r, at, rig.Axes{})
		in.Snapshot.Rig.Pose.Source = source
		m := in.Snapshot.Rig.Recent
		for i := range m {
			m[i].Belief = &question.Sky{RA: unit.Deg(20), Dec: unit.Deg(40), Frame: question.ICRS}
		}
		m[1].Axes.A2 += unit.Arcsec(off)
		m[1].Belief.Dec += unit.Arcsec(believed)
		if change != nil {
			change(&m[0], &m[1])
		}
		in.Snapshot.Rig.Recent = []question.SampleMark{m[0], m[1]}
		return number(t, facts.Compute(in).Facts, "exposure_motion_arcsec")
	}
	share := motion(rig.MotorCount, 100, 0, nil) / 100
	assert.Greater(t, share, 0.1)
	explained := 3 * math.Hypot(72, 72*math.Sin(50*math.Pi/180)) // axis 2 at 50° is 50° from the pole
	assert.Zero(t, motion(rig.AxisEncoder, 100, 0, nil))
	assert.InDelta(t, 0, motion(rig.AxisEncoder, explained-1, 0, nil), 1e-9)
	assert.InDelta(t, 10*share, motion(rig.AxisEncoder, explained+10, 0, nil), 0.1, "beyond what they scatter by")
	assert.InDelta(t, 60*share, motion(rig.AxisEncoder, 100, 60, nil), 0.1, "its belief moved")
	assert.InDelta(t, 100*share, motion(rig.AxisEncoder, 100, 600, nil), 0.1, "a sync moves the belief, and no axis")
	for name, change := range map[string]func(a, b *question.SampleMark){
		"no belief before":   func(a, _ *question.SampleMark) { a.Belief = nil },
		"no belief after":    func(_, b *question.SampleMark) { b.Belief = nil },
		"another frame":      func(_, b *question.SampleMark) { b.Belief.Frame = question.OfDate },
		"not tracking first": func(a, _ *question.SampleMark) { a.Doing = question.AtRest },
		"not tracking then":  func(_, b *question.SampleMark) { b.Doing = question.AtRest },
	} {
		assert.InDelta(t, 100*share, motion(rig.AxisEncoder, 100, 0, change), 0.1, name)
	}
}

// A person sees the axes at home anew, and the solve lies 1.6° from where the settled fit has it: by the same marks that is a walk. Who says how sure the
// home is says that the zero may be another one by as much: then it is none, until a solve has shown where it is; and as far as that the word goes.
func TestHomeToldHowSureIsNoWalk(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	walked := func(told, taught bool, off, sigma rig.Axes) float64 {
		in := solved(t, r, at, off)
		in.Snapshot.Rig.Homing = &question.Homing{ID: "h1", At: evening.Add(-time.Hour), Person: "A. Nyman", Sigma: sigma, SigmaTold: told}
		learnt, models := settledFrom(t, r, at)
		step := pointing.Step{Axes: sigma, Anew: told}
		m := models["main"].Marked(step, step)
		if taught {
			m = m.Learnt(pointing.MountOf(r), at, rig.Axes{}, r.Chain.Direction(at))
		}
		models["main"] = m
		in.Snapshot.Rig.Learnt, in.Snapshot.Rig.Pointing = learnt, models
		return number(t, facts.Compute(in).Facts, "walk_sigma")
	}
	one := rig.DegAxes(1, 1)
	for sigmas, off := range map[float64]rig.Axes{1.6: rig.DegAxes(0, 1.6), 2.1: rig.DegAxes(2.1, 0)} {
		assert.Greater(t, walked(false, false, off, one), 4.0, "%s: the same marks", off)
		assert.InDelta(t, sigmas, walked(true, false, off, one), 0.1, "%s: told how sure", off)
		assert.Greater(t, walked(true, true, off, one), 4.0, "%s: a solve has shown where the zero is", off)
		assert.Greater(t, walked(true, false, off, rig.DegAxes(0.3, 0.3)), 4.0, "%s: no farther than the word", off)
	}
}
