package decide_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// The laws of laws_test.go over every kind of action, a sync and its picture included, and over every limit.

// standing is a pose whose tube looks so high at least: from below the floor a tube may rise, which a less sure pose can pass where a surer one does not.
func (l lawRig) standing(g *rand.Rand, above unit.Angle) rig.Axes {
	at := l.within(g, 8)
	for range 200 {
		if _, alt := frame.AzAlt(l.rig.Chain.Direction(at)); alt > above {
			break
		}
		at = l.within(g, 8)
	}
	return at
}

// anyKind is a question of one kind of action after the other.
func (l lawRig) anyKind(t *testing.T, n int, g *rand.Rand) facts.Input {
	t.Helper()
	at := l.standing(g, unit.Deg(10))
	off := rig.DegAxes(0.7*g.NormFloat64(), 0.7*g.NormFloat64())
	follow := time.Duration(g.IntN(2)*g.IntN(240)) * time.Minute
	var a question.Action
	switch n % 10 {
	case 0:
		a = byAxes(l.within(g, -2))
	case 1:
		star := l.star(g)
		a = question.Action{Kind: question.Slew, Sky: &star, Follow: follow}
	case 2:
		a = question.Action{Kind: question.Track, Follow: time.Duration(1+g.IntN(300)) * time.Minute}
	case 3:
		a = question.Action{Kind: question.Jog, Axes: ptr(rig.DegAxes(8*g.NormFloat64(), 8*g.NormFloat64())), Follow: follow}
		if g.IntN(2) == 0 {
			a.Rate = ptr(unit.Deg(0.4))
		}
	case 4:
		a = question.Action{Kind: question.Creep, Axes: ptr(rig.DegAxes(5*g.NormFloat64(), 0)), Rate: ptr(unit.Deg(0.2))}
	case 5:
		a = question.Action{Kind: question.Home}
		at = rig.DegAxes(20*g.NormFloat64(), 20*g.NormFloat64()).Add(l.rig.Home)
	case 6:
		a = question.Action{Kind: question.Park}
		if len(l.rig.Rests) > 0 {
			a.Place = l.rig.Rests[g.IntN(len(l.rig.Rests))].Name
		}
	case 7:
		a = question.Action{Kind: question.Flip, Follow: follow}
	case 8:
		a = question.Action{Kind: question.Retreat, Axes: ptr(l.rig.Home)}
	case 9:
		return l.sync(t, g)
	}
	return l.asked(t, at, off, a)
}

// sync is a sync of a rig that tracks, all in order but that the picture may lie off.
func (l lawRig) sync(t *testing.T, g *rand.Rand) facts.Input {
	t.Helper()
	now := l.night()
	start, exposure := now.Add(-12*time.Second), 4*time.Second
	mid := start.Add(exposure / 2)
	m, err := moment(mid)
	require.NoError(t, err)
	at := l.standing(g, unit.Deg(25))
	rate := question.SiderealRate
	track := func(d time.Duration) rig.Axes { return at.Add(rig.Axes{A1: unit.Angle(d.Seconds()) * rate}) }
	if l.rig.Kind == rig.AltAzimuth {
		track = func(time.Duration) rig.Axes { return at }
	}
	far := []float64{0.8, 3}[g.IntN(2)] // one that agrees, mostly, or one that does not
	off := rig.DegAxes(far*g.NormFloat64(), far*g.NormFloat64())
	seen := l.rig.Chain.Direction(track(mid.Sub(now)).Add(off))
	az, alt := frame.AzAlt(seen)
	v := frame.Horizon[frame.Rig](az, l.rig.Air().True(alt))
	hour := frame.SiteFromHour[frame.Rig](l.rig.Site.Lat).Inverse().Apply(v)
	ra, dec := m.ICRS(m.FromHour(hour, l.rig.Site.Lon)).LonLat()
	in := l.asked(t, at, rig.DegAxes(0.5*g.NormFloat64(), 0.5*g.NormFloat64()), question.Action{Kind: question.Sync, Solve: &question.Solve{
		Sky: question.Sky{RA: ra.Positive(), Dec: dec, Frame: question.ICRS}, Start: start, Exposure: exposure, Optics: "main",
		Pixel: ptr(unit.Arcsec(1.55)), Width: ptr(unit.Deg(1.79)), Rotation: ptr(unit.Deg(90)), Mirrored: ptr(false), Matched: ptr(60),
		Residual: ptr(unit.Arcsec(0.8)), Radius: ptr(unit.Deg(180)), Picture: "p2",
	}})
	if p := l.rig.Optics[0].PixelArcsec; p != nil {
		in.Question.Action.Solve.Pixel = ptr(unit.Arcsec(*p))
	}
	in.Snapshot.Rig.Sample.Doing = question.Tracking
	for _, before := range []time.Duration{20 * time.Second, time.Second} {
		when := now.Add(-before)
		in.Snapshot.Rig.Recent = append(in.Snapshot.Rig.Recent, question.SampleMark{Time: when, Doing: question.Tracking, Axes: track(-before), Known: true})
	}
	return in
}

// worsen is what makes a question worse, and of which kinds.
type worsen struct {
	on     func(question.Kind) bool
	change func(in *facts.Input, r *rig.Rig, l lawRig, g *rand.Rand)
}

func motions(k question.Kind) bool { return k != question.Sync }
func every(question.Kind) bool     { return true }
func syncs(k question.Kind) bool   { return k == question.Sync }
func tracks(k question.Kind) bool {
	return k == question.Slew || k == question.Jog || k == question.Flip || k == question.Track
}

// older makes the rig's sample older.
func older(in *facts.Input, by time.Duration) {
	s := *in.Snapshot.Rig.Sample
	s.Time, s.Received = s.Time.Add(-by), s.Received.Add(-by)
	in.Snapshot.Rig.Sample, in.Snapshot.Rig.Still, in.Question.Sample = &s, &s, &s
	in.Snapshot.Rig.Pose.At = in.Snapshot.Rig.Pose.At.Add(-by)
}

// worsenings are what may never turn a refusal into an allow. A sync is left the pose's uncertainty: more of it makes an offset likelier.
var worsenings = map[string]worsen{
	"older sample": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		older(in, time.Duration(g.IntN(40_000))*time.Millisecond)
	}},
	"longer track": {tracks, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		in.Question.Action.Follow += time.Duration(g.IntN(300)) * time.Minute
	}},
	"fatter part": {motions, func(in *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
		r.Parts = slices.Clone(r.Parts)
		i := g.IntN(len(r.Parts))
		p := r.Parts[i]
		p.Shapes = slices.Clone(p.Shapes)
		for _, s := range p.Shapes[:1] {
			c, _ := s.Ball()
			ball, err := solid.Sphere(c, 20+200*g.Float64())
			if err == nil {
				p.Shapes = append(p.Shapes, ball)
			}
		}
		r.Parts[i] = p
	}},
	"wider placing": {motions, func(in *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
		r.Placing += unit.Length(50 * g.Float64())
	}},
	"sync history": {syncs, func(in *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
		for range 1 + g.IntN(7) {
			in.Snapshot.Rig.Syncs = append(in.Snapshot.Rig.Syncs, question.SyncDone{At: in.Snapshot.At.Add(-time.Duration(g.IntN(900)) * time.Second), Axes: rig.DegAxes(g.NormFloat64(), g.NormFloat64())})
		}
	}},
	"older picture": {syncs, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		s := *in.Question.Action.Solve
		by := time.Duration(g.IntN(400)) * time.Second
		s.Start = s.Start.Add(-by)
		in.Question.Action.Solve = &s
	}},
	"fewer stars":    solveWorse(func(s *question.Solve, g *rand.Rand) { s.Matched = ptr(g.IntN(60)) }),
	"no stars told":  solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Matched = nil }),
	"more residual":  solveWorse(func(s *question.Solve, g *rand.Rand) { s.Residual = ptr(unit.Arcsec(0.8 + 5*g.Float64())) }),
	"no residual":    solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Residual = nil }),
	"hinted":         solveWorse(func(s *question.Solve, g *rand.Rand) { s.Radius = ptr(unit.Deg(180 * g.Float64())) }),
	"no radius":      solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Radius = nil }),
	"mirrored":       solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Mirrored = ptr(true) }),
	"no mirror told": solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Mirrored = nil }),
	"another scale": solveWorse(func(s *question.Solve, g *rand.Rand) {
		s.Pixel = ptr(unit.Angle(float64(*s.Pixel) * (1 + 0.3*g.Float64())))
	}),
	"no scale":    solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Pixel = nil }),
	"no width":    solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Width = nil }),
	"no start":    solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Start = time.Time{} }),
	"no exposure": solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Exposure = 0 }),
	"no picture":  solveWorse(func(s *question.Solve, _ *rand.Rand) { s.Picture = "" }),
	"given elsewhere": {syncs, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		s := in.Question.Action.Solve.Sky
		s.Dec -= unit.Angle(float64(s.Dec) * 0.2 * g.Float64())
		in.Question.Action.Given = &s
	}},
	"a picture in doubt": {syncs, func(in *facts.Input, _ *rig.Rig, l lawRig, g *rand.Rand) {
		at := l.within(g, 5)
		in.Snapshot.Rig.Solves = append(in.Snapshot.Rig.Solves, question.JudgedSolve{RequestID: "d", At: in.Snapshot.At.Add(-5 * time.Minute), Picture: "p1", Mid: in.Snapshot.At.Add(-6 * time.Minute), Optics: "main", Blind: true,
			Verdict: []question.SolveVerdict{question.Refused, question.Held}[g.IntN(2)], Good: true, Against: true, Side: l.rig.Kind.SideOf(at), Pose: at, Solved: at.Add(rig.DegAxes(30*g.NormFloat64(), 30*g.NormFloat64())), Field: unit.Deg(1.79)})
	}},
	"another place": {every, func(in *facts.Input, _ *rig.Rig, l lawRig, g *rand.Rand) {
		p := &in.Snapshot.Rig.Pose
		p.State, p.Because = question.Candidates, "a test"
		p.Candidates = append(slices.Clone(p.Candidates), question.Candidate{Axes: l.within(g, 5), Sigma: rig.DegAxes(0.02, 0.02)})
	}},
	"a place near": {every, func(in *facts.Input, _ *rig.Rig, l lawRig, g *rand.Rand) {
		p := &in.Snapshot.Rig.Pose
		p.State, p.Because = question.Candidates, "a test"
		p.Candidates = append(slices.Clone(p.Candidates), question.Candidate{Axes: p.Candidates[0].Axes.Add(rig.DegAxes(2*g.NormFloat64(), 2*g.NormFloat64())), Sigma: rig.DegAxes(0.02, 0.02)})
	}},
	"no pose": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
		in.Snapshot.Rig.Pose = question.Pose{State: question.Unknown}
	}},
	"pose uncertainty": {motions, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.02+1.5*g.Float64(), 0.02+1.5*g.Float64())
	}},
	"no site": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
		in.Snapshot.Rig.Site, in.Snapshot.Rig.Sample.Site = nil, nil
	}},
	"no sidereal": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Sample.Sidereal = nil }},
	"no belief":   {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Sample.Belief = nil }},
	"no side": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
		if b := in.Snapshot.Rig.Sample.Belief; b != nil {
			c := *b
			c.Side = ""
			in.Snapshot.Rig.Sample.Belief = &c
		}
	}},
	"no sample": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
		in.Snapshot.Rig.Sample, in.Snapshot.Rig.Still, in.Question.Sample = nil, nil, nil
	}},
	"no clock": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Clock = question.Clock{} }},
	"clock off": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		in.Snapshot.Clock.KernelBoundS = 40 * g.Float64()
	}},
	"it moves": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
		in.Snapshot.Rig.Sample.Doing = question.Moving
	}},
	"doing not told": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Sample.Doing = "" }},
	"nobody there":   {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Question.AttendedBy = "" }},
	"skipped":        {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Skipped = true }},
	"forward": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		in.Snapshot.Rig.Forward, in.Snapshot.Rig.Skipped = time.Duration(g.IntN(3600))*time.Second, true
	}},
	"sent skewed": {every, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		in.Question.Sent = in.Question.Sent.Add(time.Duration(g.IntN(200)-100) * time.Second)
	}},
	"order of axes": {motions, func(_ *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
		r.Motion.Sharing = rig.AnyOrder
	}},
}

// solveWorse is a worse picture of a sync.
func solveWorse(f func(*question.Solve, *rand.Rand)) worsen {
	return worsen{syncs, func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
		s := *in.Question.Action.Solve
		f(&s, g)
		in.Question.Action.Solve = &s
	}}
}

// Whatever is asked, no worse sample, picture, pose or clock, no longer track and no fatter part turns what is not allowed into an allow, and most of them turn
// some allow into none.
func TestNothingWorseIsAllowedOfAnyKind(t *testing.T) {
	turned, tally := map[string]bool{}, map[string]int{}
	eachLawRig(t, 20, func(t *testing.T, l lawRig, g *rand.Rand) {
		for n := range questions(10) {
			in := l.anyKind(t, n, g)
			was, kind := l.answer(t, in, nil), in.Question.Action.Kind
			tally[fmt.Sprintf("%s %s", kind, was.verdict)]++
			for _, name := range slices.Sorted(maps.Keys(worsenings)) {
				w := worsenings[name]
				if !w.on(kind) || was.verdict == verdict.Allow && g.IntN(3) > 0 {
					continue
				}
				r, s, worse := *l.rig, *in.Snapshot.Rig.Sample, in
				worse.Rig = &r
				worse.Snapshot.Rig.Sample, worse.Snapshot.Rig.Still, worse.Question.Sample = &s, &s, &s
				worse.Snapshot.Rig.Pose.Candidates = slices.Clone(in.Snapshot.Rig.Pose.Candidates)
				w.change(&worse, &r, l, g)
				is := l.answer(t, worse, nil)
				turned[name] = turned[name] || was.verdict == verdict.Allow && is.verdict != verdict.Allow
				assert.False(t, was.verdict != verdict.Allow && is.verdict == verdict.Allow, "seed %d, %s, question %d, %s: with %q it is allowed; it was %s", lawSeed, l.name, n, kind, name, was.why())
			}
		}
	})
	changed := 0
	for name := range worsenings {
		if turned[name] {
			changed++
		}
	}
	assert.Greater(t, changed, len(worsenings)/2, "seed %d: too few of them change any answer: %v", lawSeed, turned)
	for _, kind := range []question.Kind{question.Slew, question.Retreat, question.Track, question.Jog, question.Creep, question.Home, question.Park, question.Flip, question.Sync} {
		assert.Positive(t, tally[string(kind)+" deny"]+tally[string(kind)+" hold"]+tally[string(kind)+" allow"], "seed %d: %s was not asked: %v", lawSeed, kind, tally)
	}
}

// No limit that is tightened turns what is not allowed into an allow. One is left: leave that waits less also leaves the rig less time to turn in.
func TestNoTighterLimitAllowsMore(t *testing.T) {
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	fewer := 0
	eachLawRig(t, 21, func(t *testing.T, l lawRig, g *rand.Rand) {
		own, what := limits.Layer{Name: "rig"}, ""
		for _, d := range defs {
			v, ok := l.limits.Value(d.Rule, d.Name)
			if !ok {
				continue
			}
			if by := max(0.5*g.Float64()*math.Abs(v), 0.01); d.Rule != "permit" && g.IntN(3) == 0 {
				what += fmt.Sprintf(" %s %s", d.Rule, d.Name)
				switch {
				case !d.SmallerIsSafer:
					v += by
				case d.Default != nil && *d.Default >= 0:
					v = max(0, v-by)
				default:
					v -= by
				}
			}
			own.Entries = append(own.Entries, limits.Entry{Rule: d.Rule, Name: d.Name, Value: v})
		}
		lim, err := limits.Merge(defs, own)
		require.NoError(t, err)
		set, err := rules.Load(policies.Files(), lim)
		require.NoError(t, err)
		tight := l
		tight.limits, tight.rules = lim, set
		for n := range questions(20) {
			in := l.anyKind(t, n, g)
			was := l.answer(t, in, nil)
			in.Limits = lim
			is := tight.answer(t, in, nil)
			if was.verdict == verdict.Allow && is.verdict != verdict.Allow {
				fewer++
			}
			assert.False(t, was.verdict != verdict.Allow && is.verdict == verdict.Allow, "seed %d, %s, question %d, %s: with tighter%s it is allowed; it was %s", lawSeed, l.name, n, in.Question.Action.Kind, what, was.why())
		}
	})
	assert.Positive(t, fewer, "seed %d: tighter limits changed no answer", lawSeed)
}
