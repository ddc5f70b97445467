package facts_test

import (
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A limit in the mount acts where belief crosses it, from the side on which it stands: one behind the course, or that belief has passed
// already, never does; and without a belief nothing is known of it.
func TestMountLimitActsWhereBeliefCrossesIt(t *testing.T) {
	r := *heron(t)
	r.Stop = rig.Fallback{Kind: rig.MountLimit, Axis: 1, Limit: unit.Deg(40), Seen: evening}
	spare := func(limit float64, off rig.Axes, change func(*facts.Input)) float64 {
		r.Stop.Limit = unit.Deg(limit)
		in := standing(t, &r, rig.DegAxes(-30, 30), off, question.Action{Kind: question.Track, Follow: time.Hour})
		if change != nil {
			change(&in)
		}
		return number(t, facts.Compute(in).Facts, "unstopped_spare_s")
	}
	contact := number(t, facts.Compute(standing(t, &r, rig.DegAxes(-30, 30), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})).Facts, "contact_in_s")
	require.Less(t, contact, 80000.0, "this course touches something within the day")
	perDegree := 1 / question.SiderealRate.Deg()
	assert.InDelta(t, contact-75*perDegree, spare(40, rig.Axes{}, nil), 2, "70° on, and 5° that syncs may still take")
	assert.InDelta(t, contact-85*perDegree, spare(40, rig.DegAxes(-10, 0), nil), 2, "a belief that lags behind the pose acts later")
	assert.Less(t, spare(-95, rig.Axes{}, nil), -70000.0, "a limit behind the course does not act")
	assert.Less(t, spare(-31, rig.Axes{}, nil), -70000.0, "one that belief has passed neither")
	assert.Less(t, spare(40, rig.Axes{}, func(in *facts.Input) { in.Snapshot.Rig.Sample.Belief = nil }), -70000.0, "nor one by a belief that nobody told")
}

// Where it acts too late the answer tells which one would be in time: that one passes, with a belief that leads or lags too, and one a degree farther does
// not. Where the first contact comes too soon for any, none is told.
func TestAMountLimitInTimeIsTold(t *testing.T) {
	r := *heron(t)
	says := regexp.MustCompile(`; one at (-?[0-9.]+)° would be in time$`)
	ask := func(from, limit float64, off rig.Axes) (spare float64, about string) {
		r.Stop = rig.Fallback{Kind: rig.MountLimit, Axis: 1, Limit: unit.Deg(limit), Seen: evening}
		f := facts.Compute(standing(t, &r, rig.DegAxes(from, 30), off, question.Action{Kind: question.Track, Follow: time.Minute})).Facts
		return number(t, f, "unstopped_spare_s"), f["unstopped_spare_s"].About[0]
	}
	contact := facts.Compute(standing(t, &r, rig.DegAxes(-30, 30), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Minute})).Facts
	at := -30 + number(t, contact, "contact_in_s")*question.SiderealRate.Deg()
	for _, off := range []rig.Axes{{}, rig.DegAxes(1.5, 0), rig.DegAxes(-1.5, 0)} {
		late, about := ask(-30, at, off)
		require.Less(t, late, 600.0)
		told := says.FindStringSubmatch(about)
		require.NotNil(t, told, "%s", about)
		limit, err := strconv.ParseFloat(told[1], 64)
		require.NoError(t, err)
		spare, about := ask(-30, limit, off)
		assert.GreaterOrEqual(t, spare, 600.0, "off by %v: %g°", off, limit)
		assert.NotRegexp(t, says, about, "nothing better is told of one that passes")
		spare, _ = ask(-30, limit+1, off)
		assert.Less(t, spare, 600.0, "off by %v: %g°", off, limit)
	}
	spare, about := ask(at-3, at, rig.Axes{})
	assert.Less(t, spare, 600.0)
	assert.NotRegexp(t, says, about, "3° before it ten minutes, and what syncs may still take, are too much for any")
}

// One that an alt-azimuth crosses on the way to where it tracks, by no more than syncs may take from it, may have been meant the other way
// round: its axes turn either way. (An equatorial's grows as it tracks, and so it was seen to act.)
func TestMountLimitCrossedOnTheWayIsNotCountedOn(t *testing.T) {
	r := *example(t, "bittern.yaml")
	r.Stop = rig.Fallback{Kind: rig.MountLimit, Axis: 1, Limit: unit.Deg(120), Seen: evening}
	acts := func(from, to float64) bool {
		end := rig.DegAxes(to, 40)
		in := standing(t, &r, rig.DegAxes(from, 40), rig.Axes{}, question.Action{Kind: question.Slew, Axes: &end, Follow: time.Hour})
		f := facts.Compute(in).Facts["stop_acts"]
		require.NotNil(t, f.Truth, f.Missing)
		return *f.Truth
	}
	assert.True(t, acts(90, 117), "from the same side, and tracking grows")
	assert.False(t, acts(140, 117), "over it and back")
	assert.True(t, acts(140, 100), "surely over it")
}

// A mount that flips by itself may do so on its own way, which nobody has proven: that counts as the first contact.
func TestOwnFlipCountsAsContact(t *testing.T) {
	r := *heron(t)
	r.Mount.FlipsItself, r.Mount.FlipAt = true, 0
	in := standing(t, &r, rig.DegAxes(60, -40), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Minute})
	out := facts.Compute(in)
	flip := 29.5 / question.SiderealRate.Deg() // hour angle -30°, half a degree early
	assert.InDelta(t, flip, number(t, out.Facts, "flip_in_s"), 60)
	assert.LessOrEqual(t, number(t, out.Facts, "contact_in_s"), number(t, out.Facts, "flip_in_s"))
	require.NotNil(t, out.TrackEnds)
	assert.False(t, out.TrackEnds.After(evening.Add(time.Duration(flip+60)*time.Second)))
}

// The poses that a mount always goes by are its own belief's: with a false one it goes by others.
func TestWayPointsStandOffWithBelief(t *testing.T) {
	r := *heron(t)
	r.Motion.Via = []rig.Axes{rig.DegAxes(0, 0)}
	star := question.Sky{RA: unit.Deg(20), Dec: unit.Deg(40), Frame: question.OfDate}
	in := standing(t, &r, rig.DegAxes(-20, 60), rig.DegAxes(0, 10), question.Action{Kind: question.Slew, Sky: &star, Side: rig.East})
	assert.Less(t, number(t, facts.Compute(in).Facts, "axis2_sharp_min_deg"), -9.9, "it believes itself 10° ahead, so that its zero is at -10°")
	r.Motion.Via, r.Motion.FlipVia = nil, []rig.Axes{rig.DegAxes(0, 0)}
	in = standing(t, &r, rig.DegAxes(-20, 1), rig.Axes{}, axesSlew(rig.DegAxes(-60, 40)))
	assert.Len(t, facts.Compute(in).Ends, 2, "near the border between the sides both ways count")
}

// A start that may be late, a begin that may come from the side, and a rig that must first come to rest all widen the way.
func TestWaitingWidensTheWay(t *testing.T) {
	r := heron(t)
	reach := func(change func(*facts.Input)) float64 {
		in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(30, 40)))
		change(&in)
		return number(t, facts.Compute(in).Facts, "axis1_travel_max_deg")
	}
	assert.InDelta(t, 30.06, reach(func(*facts.Input) {}), 1e-9)
	assert.InDelta(t, 30.56, reach(func(in *facts.Input) { in.Question.BeginLater = true }), 1e-9, "start_tolerance_deg 0.5")
	assert.InDelta(t, 32.06, reach(func(in *facts.Input) { in.Snapshot.Rig.Sample.Doing = question.Moving }), 4.1, "v²/2a = 2°, and the pose's own growth")
	assert.Greater(t, reach(func(in *facts.Input) { in.Snapshot.Rig.Sample.Doing = question.Moving }), 32.0)
	assert.InDelta(t, 30.06+10*question.SiderealRate.Deg(), reach(func(in *facts.Input) { in.Snapshot.Rig.Sample.Doing = question.Tracking }), 0.01, "start_within_s 10")
}

// A sample from the future is as old as it is early, and its clock is off by as much even where the sending time agrees.
func TestSampleFromTheFuture(t *testing.T) {
	r := heron(t)
	in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(30, 40)))
	in.Snapshot.Rig.Sample.Time = evening.Add(time.Hour)
	out := facts.Compute(in)
	assert.InDelta(t, 3600, number(t, out.Facts, "pose_age_s"), 1e-9)
	assert.InDelta(t, 3600, number(t, out.Facts, "clock_skew_s"), 1e-9)
	assert.Contains(t, out.Facts["clock_skew_s"].About, "looks like one hour: summer time or zone")
}

// What the mount takes for its place counts even where its sidereal time is right, and a wrong sign is named.
func TestMountsSiteIsHeldAgainstOurs(t *testing.T) {
	r := heron(t)
	said := func(lat, lon float64, change func(*facts.Input)) (float64, []string) {
		in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(30, 40)))
		in.Snapshot.Rig.Site = &question.Place{Lat: unit.Deg(lat), Lon: unit.Deg(lon)}
		if change != nil {
			change(&in)
		}
		f := facts.Compute(in).Facts
		return number(t, f, "mount_map_error_deg"), f["mount_map_error_deg"].About
	}
	v, about := said(46.2, 11.1, nil)
	assert.InDelta(t, 0, v, 1e-3, "%v", about)
	v, about = said(46.2, -11.1, nil)
	assert.InDelta(t, 22.2, v, 1e-6)
	assert.Contains(t, about, "looks like the sign of the longitude")
	v, about = said(-46.2, 11.1, nil)
	assert.InDelta(t, 92.4, v, 1e-6)
	assert.Contains(t, about, "looks like the sign of the latitude")
	v, about = said(46.2, 11.1, func(in *facts.Input) {
		*in.Snapshot.Rig.Sample.Sidereal += unit.Deg(15.0411)
	})
	assert.InDelta(t, 15.04, v, 0.01)
	assert.Contains(t, about, "looks like one hour: summer time or zone")

	for unitOf, want := range map[float64]string{15: "looks like hours where degrees are wanted", 180 / math.Pi: "looks like radians where degrees are wanted", 2: ""} {
		_, about = said(46.2, 11.1, func(in *facts.Input) {
			*in.Snapshot.Rig.Sample.Sidereal = unit.Deg(in.Snapshot.Rig.Sample.Sidereal.Positive().Deg() / unitOf)
		})
		assert.Equal(t, want != "", slices.Contains(about, want), "%v: %v", unitOf, about)
		assert.Equal(t, want == "", !strings.Contains(strings.Join(about, "; "), "looks like"), "%v: %v", unitOf, about)
	}

	in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(30, 40)))
	in.Snapshot.Rig.Site = nil
	f := facts.Compute(in).Facts["mount_map_error_deg"]
	assert.Contains(t, f.Missing, "site", "a mount that is said to tell its site, and never did, is silent")
}

// Numbers of the other frame, or hours for degrees, are named where they explain the offset.
func TestMixedUpReadingsAreNamed(t *testing.T) {
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.Axes{})
	v := in.Question.Action.Solve
	require.Equal(t, question.ICRS, v.Sky.Frame)
	v.Sky.Frame = question.OfDate
	out := facts.Compute(in)
	assert.Greater(t, number(t, out.Facts, "expected_offset_arcmin"), 5.0)
	require.NotEmpty(t, out.Facts["expected_offset_arcmin"].About)
	assert.Contains(t, out.Facts["expected_offset_arcmin"].About[0], "mix-up of frames")
	v.Sky.Frame = question.ICRS
	v.Sky.RA /= 15
	out = facts.Compute(in)
	require.NotEmpty(t, out.Facts["expected_offset_arcmin"].About)
	assert.Contains(t, out.Facts["expected_offset_arcmin"].About[0], "hours")
}

// A rig that only tracks stays on the field, and one that only rests on the spot: neither picture is independent of the one before,
// however far axis 1, or the sky, has turned.
func TestTrackingIsNoDeliberateMove(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	ago := 30 * time.Minute
	for name, turned := range map[string]unit.Angle{"tracking": unit.Angle(ago.Seconds()) * question.SiderealRate, "resting": 0} {
		in := solved(t, r, at, rig.DegAxes(0, 45))
		doubt := question.JudgedSolve{
			RequestID: "first", Picture: "p1", Mid: evening.Add(-10*time.Second - ago), Optics: "main", Blind: true, Verdict: question.Refused, Side: rig.East,
			Pose: at.Sub(rig.Axes{A1: turned}), Solved: at.Add(rig.DegAxes(0, 45)).Sub(rig.Axes{A1: turned}), Field: unit.Deg(1.79),
		}
		in.Snapshot.Rig.Solves = []question.JudgedSolve{doubt}
		f := facts.Compute(in).Facts
		assert.Equal(t, 1.0, number(t, f, "pictures_lacking_count"), name)
		assert.Contains(t, f["pictures_lacking_count"].About[0], "field", name)
	}
}

// One sample in the middle of an exposure: a rig at rest trails by the sky's turning, one that tracks does not.
func TestOneSampleAtMidExposure(t *testing.T) {
	r := heron(t)
	at := rig.DegAxes(-40, 50)
	for doing, want := range map[question.Doing]float64{question.Tracking: 0, question.AtRest: 4 * question.SiderealRate.Arcsec() * math.Sin(float64(unit.Deg(50)))} {
		in := solved(t, r, at, rig.Axes{})
		v := in.Question.Action.Solve
		mid := v.Start.Add(v.Exposure / 2)
		v.Mid = &question.Sample{Time: mid, Doing: doing}
		in.Snapshot.Rig.Recent = []question.SampleMark{{Time: mid, Doing: doing, Axes: at, Known: true}}
		out := facts.Compute(in)
		assert.InDelta(t, want, number(t, out.Facts, "exposure_motion_arcsec"), 0.5, string(doing))
	}
}

// A rig that was quiet before and after, and stands elsewhere than rest or tracking would leave it, moved between.
func TestUnseenMotionBetweenSamples(t *testing.T) {
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.Axes{})
	in.Snapshot.Rig.Recent[1].Axes.A2 += unit.Deg(1)
	assert.Contains(t, facts.Compute(in).Facts["exposure_motion_arcsec"].Missing, "moved between")
}

// rigidly carries a direction fixed to the tube from a pose to another.
func rigidly(r *rig.Rig, v frame.Vec[frame.Rig], from, to rig.Axes) frame.Vec[frame.Rig] {
	c := &r.Chain
	back := frame.About(c.Dir2, -from.A2).Apply(frame.About(c.Dir1, -from.A1).Apply(v))
	return frame.About(c.Dir1, to.A1).Apply(frame.About(c.Dir2, to.A2).Apply(back))
}

// firstSide is a pose on the first side at which the camera angle is what the picture shows, and the pole that it counts from there.
func firstSide(r *rig.Rig) (rig.Axes, frame.Vec[frame.Rig]) {
	if r.Kind == rig.German {
		return rig.DegAxes(0, 45), r.Chain.Dir1.Scale(-1)
	}
	return rig.Axes{}, r.Chain.Dir1.Scale(-1)
}

// along is a direction a little way from another, at a position angle from north, toward a pole, through east.
func along(v, pole frame.Vec[frame.Rig], angle, by unit.Angle) frame.Vec[frame.Rig] {
	east := pole.Cross(v).Unit()
	north := v.Cross(east)
	d := north.Scale(angle.Cos()).Add(east.Scale(angle.Sin()))
	return v.Scale(by.Cos()).Add(d.Scale(by.Sin()))
}

// camera is an input with a picture taken at a pose by a camera fixed to the tube, everything of it carried rigidly from the first side.
func camera(t *testing.T, r *rig.Rig, at rig.Axes, o rig.Optics, angle unit.Angle) facts.Input {
	t.Helper()
	in := solved(t, r, at, rig.Axes{})
	v := in.Question.Action.Solve
	mid, _ := v.Middle()
	m, err := moment(mid)
	require.NoError(t, err)
	p := place(t, r)
	air := r.Air()
	seenToSky := func(d frame.Vec[frame.Rig]) (ra, dec unit.Angle) {
		az, alt := frame.AzAlt(d)
		hour, dec := frame.HourDec(frame.SiteFromHour[frame.Rig](p.Latitude()).Inverse().Apply(frame.Horizon[frame.Rig](az, air.True(alt))))
		return (m.SiderealTime(p.Longitude()) - hour).Positive(), dec
	}
	ref, pole := firstSide(r)
	tube := r.Chain.Direction(ref)
	off := unit.Angle(math.Hypot(float64(o.East), float64(o.North)))
	looks := along(tube, pole, unit.Angle(math.Atan2(float64(o.East), float64(o.North))), off)
	pose := at.Add(rig.Axes{A1: unit.Angle(mid.Sub(evening).Seconds()) * question.SiderealRate})
	if r.Kind == rig.AltAzimuth {
		pose = at
	}
	ra, dec := seenToSky(rigidly(r, looks, ref, pose))
	ra2, dec2 := seenToSky(rigidly(r, along(looks, pole, angle, unit.Arcmin(1)), ref, pose))
	// Position angle of the second from the first: Meeus, Astronomical Algorithms, 2nd ed. 1998, chapter 17, page 116.
	d := float64(ra2 - ra)
	y, x := math.Sin(d), math.Cos(float64(dec))*math.Tan(float64(dec2))-math.Sin(float64(dec))*math.Cos(d)
	turned := unit.Angle(math.Atan2(y, x)).Positive()
	v.Sky, v.Rotation = question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, &turned
	if r.Kind == rig.AltAzimuth { // at rest, so that no course has to be known
		for i := range in.Snapshot.Rig.Recent {
			in.Snapshot.Rig.Recent[i].Axes, in.Snapshot.Rig.Recent[i].Doing = at, question.AtRest
		}
	}
	return in
}

// The camera angle and the boresight of optics off the tube, held against a camera carried rigidly through space and a tangent plane: all
// kinds, both sides, both hemispheres, near the pole as elsewhere, with and without a polar error.
func TestCameraAngleAndBoresightAgainstRigidGeometry(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 72))
	for _, name := range []string{"heron", "curlew", "wren", "bittern"} {
		base := heron(t)
		if name != "heron" {
			base = example(t, name+".yaml")
		}
		for range 60 {
			r := *base
			at := rig.DegAxes(rng.Float64()*160-80, rng.Float64()*160-80)
			if r.Kind == rig.German && rng.IntN(4) == 0 {
				at.A2 = unit.Deg(rng.Float64()*4 - 2) // near the pole
			}
			if _, alt := frame.AzAlt(r.Chain.Direction(at)); alt.Deg() < 15 || alt.Deg() > 88 {
				continue
			}
			angle := unit.Deg(rng.Float64() * 360)
			o := rig.Optics{Name: "main", CameraAngle: &angle}
			if rng.IntN(2) == 0 {
				o.East, o.North = unit.Deg(rng.Float64()*3-1.5), unit.Deg(rng.Float64()*3-1.5)
			}
			r.Optics = []rig.Optics{o}
			f := facts.Compute(camera(t, &r, at, o, angle)).Facts
			if pole := r.Chain.Direction(at).Angle(r.Chain.Dir1).Sin(); o.East != 0 && pole < 0.2 {
				continue // nearer to the end of axis 1 than optics off by degrees can be brought to a direction step by step
			}
			assert.InDelta(t, 0, number(t, f, "expected_offset_arcmin"), 0.05, "%s at %v, optics off by %v %v", name, at, o.East.Deg(), o.North.Deg())
			tolerance := 0.3 + 2*unit.Angle(math.Hypot(float64(o.East), float64(o.North))).Deg() // a tangent plane is not carried round a great circle
			if pole := r.Chain.Direction(at).Angle(r.Pole()); pole.Sin() > 0.1 || o.East == 0 && pole.Sin() > 0.01 {
				assert.InDelta(t, 0, number(t, f, "rotation_error_deg"), tolerance, "%s at %v, camera at %v", name, at, angle.Deg())
			}
		}
	}
}

// A jog from elsewhere is another motion, so that none is proposed by way of other poses; of a mount that takes the side asked for the
// other one is.
func TestProposals(t *testing.T) {
	r := *heron(t)
	by := rig.DegAxes(0, -120)
	out := facts.Compute(standing(t, &r, rig.DegAxes(90, 60), rig.Axes{}, question.Action{Kind: question.Jog, Axes: &by}))
	require.Less(t, number(t, out.Facts, "clearance_spare_mm"), 0.0)
	assert.Empty(t, out.Instead)
	r.Mount.Chooses = rig.AskerChooses
	star := question.Sky{RA: unit.Deg(20), Dec: unit.Deg(40), Frame: question.OfDate}
	for _, side := range []rig.Side{rig.East, rig.West} {
		in := standing(t, &r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star, Side: side})
		narrow := defaults()
		narrow["clear/path general_mm"] = 500
		in.Limits = narrow
		out = facts.Compute(in)
		require.Less(t, number(t, out.Facts, "clearance_spare_mm"), 0.0)
		require.NotEmpty(t, out.Instead)
		assert.Equal(t, side.Other(), out.Instead[0].Steps[0].Side)
	}
}

// Near the change-over the sides take different times, and one may come in only for the later arrival: each end is where the target stands
// when that way arrives, neither sooner nor later.
func TestEveryEndIsThatOfItsOwnArrival(t *testing.T) {
	r := heron(t)
	m, err := moment(evening)
	require.NoError(t, err)
	for hour := -0.7; hour <= 0.7; hour += 0.01 {
		star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) - unit.Deg(hour)).Positive(), Dec: unit.Deg(20), Frame: question.OfDate}
		out := facts.Compute(standing(t, r, rig.DegAxes(60, -60), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star}))
		for _, e := range out.Ends {
			want := unit.Deg(hour + 90)
			if r.Kind.SideOf(e.Axes) == rig.East {
				want = unit.Deg(hour - 90)
			}
			want += unit.Angle(e.MotionS) * question.SiderealRate
			assert.InDelta(t, want.Deg(), e.Axes.A1.Deg(), 0.002, "hour angle %.2f°, side %s, %.1f s", hour, e.Side, e.MotionS)
		}
	}
}

// How far the Sun may move while a slow rig turns for hours is an uncertainty: nearer than it may be is proven of what is left alone, so such a
// motion is held and not denied.
func TestLongMotionsAreNoProofOfTheSun(t *testing.T) {
	r := *heron(t)
	r.Motion.RateDeg, r.Motion.AccelDeg = [2]float64{0.001, 0.001}, [2]float64{0.001, 0.001} // no file says so, but a jog may
	out := facts.Compute(standing(t, &r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(-35, 20))))
	require.Greater(t, out.MotionS, 9*3600.0)
	assert.Less(t, number(t, out.Facts, "sun_separation_deg"), 30.0, "the bound")
	assert.Greater(t, number(t, out.Facts, "sun_separation_sharp_deg"), 30.0, "what is proven")
}

// A track until an instant is as long as its asker means it where this machine's clock reads otherwise by more than may be let pass: it is held
// for the clocks, and not denied, or taken for nothing, for a length that nobody asked for.
func TestTrackUntilByTheClockOfTheAsker(t *testing.T) {
	for _, ahead := range []time.Duration{0, 30 * time.Second, time.Hour, -48 * time.Hour} {
		until := evening.Add(ahead + time.Hour)
		in := standing(t, heron(t), rig.DegAxes(-30, 30), rig.Axes{}, question.Action{Kind: question.Track, Until: &until})
		in.Question.Sent = evening.Add(ahead)
		want := 3600.0
		if ahead == 30*time.Second {
			want += 30
		}
		assert.InDelta(t, want, number(t, facts.Compute(in).Facts, "asked_track_s"), 1e-6, "the asker's clock %s ahead", ahead)
	}
}
