package decide_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
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

// Laws that need no oracle (faults.md, section 5), of whole answers: facts, rules and verdict, over the three kinds of mount in both
// hemispheres, by random questions from a seed that every failure prints. A bound that is proven is short of the truth by what the prover's
// own tightness leaves: lawSlackMM is above that.
const (
	lawSeed    = 20261128
	lawSlackMM = 2.0
)

// lawRig is a rig with what judges it, and how axis angles are mirrored to its twin beyond the equator.
type lawRig struct {
	name   string
	rig    *rig.Rig
	limits limits.Set
	rules  *rules.Set
	twin   func(rig.Axes) rig.Axes // of the northern rigs; nil: of the southern
}

// turnedRound are what a file says of the ground, north for south.
var turnedRound = map[string]*strings.Replacer{
	"heron": strings.NewReplacer("latitude_deg: 46.20", "latitude_deg: -46.20", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125",
		"[0, 120, 240]", "[180, 60, 300]"),
	"wren": strings.NewReplacer("latitude_deg: -31.5", "latitude_deg: 31.5", "crossing_north_of_hub_mm: -330", "crossing_north_of_hub_mm: 330",
		"leg_azimuths_deg: [60, 180, 300]", "leg_azimuths_deg: [120, 0, 240]", "axes_deg: [0, -89]", "axes_deg: [0, 89]", "axis2_deg: [-95, 60]", "axis2_deg: [-60, 95]"),
	"bittern": strings.NewReplacer("latitude_deg: 58.3", "latitude_deg: -58.3", "[-1500, 1200]\n      to_mm: [1500, 1200]", "[-1500, -1200]\n      to_mm: [1500, -1200]",
		"[[0, 20], [90, 8], [180, 5], [270, 22]]", "[[0, 5], [90, 8], [180, 20], [270, 22]]", "home_deg: [0, 0]", "home_deg: [180, 0]", "axes_deg: [0, 85]", "axes_deg: [180, 85]"),
}

// lawRigs are read once: loading their rules takes most of the time.
var lawRigs = sync.OnceValues(func() ([]lawRig, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return nil, err
	}
	var out []lawRig
	for _, c := range []struct {
		name, path string
		twin       func(rig.Axes) rig.Axes
	}{
		{"heron", "../practice/heron.yaml", func(a rig.Axes) rig.Axes { return a }},
		{"wren", "../../../testdata/rigs/wren.yaml", func(a rig.Axes) rig.Axes { return rig.Axes{A1: a.A1, A2: -a.A2} }},
		{"bittern", "../../../testdata/rigs/bittern.yaml", func(a rig.Axes) rig.Axes { return rig.Axes{A1: unit.HalfTurn - a.A1, A2: a.A2} }},
	} {
		content, err := os.ReadFile(c.path)
		if err != nil {
			return nil, err
		}
		for i, text := range []string{string(content), turnedRound[c.name].Replace(string(content))} {
			l, err := newLawRig(c.name+[]string{"", ", mirrored"}[i], text, defs)
			if err != nil {
				return nil, err
			}
			if i == 0 {
				l.twin = c.twin
			}
			out = append(out, l)
		}
	}
	return out, nil
})

func newLawRig(name, text string, defs []limits.Definition) (lawRig, error) {
	r, bad := rig.Parse(name, []byte(text), nil)
	if r == nil {
		return lawRig{}, fmt.Errorf("%s: %v", name, bad)
	}
	own := limits.Layer{Name: "rig"}
	for _, l := range r.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value})
	}
	low, high := r.Travel.Low, r.Travel.High
	own.Entries = append(own.Entries, []limits.Entry{
		{Rule: "travel/axis1", Name: "low_deg", Value: low.A1.Deg()}, {Rule: "travel/axis1", Name: "high_deg", Value: high.A1.Deg()},
		{Rule: "travel/axis2", Name: "low_deg", Value: low.A2.Deg()}, {Rule: "travel/axis2", Name: "high_deg", Value: high.A2.Deg()},
	}...)
	lim, err := limits.Merge(defs, own)
	if err != nil {
		return lawRig{}, err
	}
	set, err := rules.Load(policies.Files(), lim)
	return lawRig{name: name, rig: r, limits: lim, rules: set}, err
}

// eachLawRig runs a law for each rig, with random numbers of its own.
func eachLawRig(t *testing.T, law uint64, f func(t *testing.T, l lawRig, g *rand.Rand)) {
	t.Helper()
	all, err := lawRigs()
	require.NoError(t, err)
	for i, l := range all {
		f(t, l, rand.New(rand.NewPCG(lawSeed+law, uint64(i))))
	}
}

// questions is how many random questions each law asks of each rig.
func questions(few int) int {
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		return 12 * few
	}
	return few
}

// night is dark at every one of the rigs, and the Sun stands on the equator: it mirrors itself.
func (l lawRig) night() time.Time {
	midnight := time.Date(2027, 3, 20, 0, 0, 0, 0, time.UTC)
	return midnight.Add(-time.Duration(l.rig.Site.Lon.Deg() / 15 * float64(time.Hour)))
}

// asked is a question of a rig that rests at a pose, all fresh and in order, its belief off by so much.
func (l lawRig) asked(t *testing.T, at, off rig.Axes, a question.Action) facts.Input {
	t.Helper()
	now := l.night()
	m, err := moment(now)
	require.NoError(t, err)
	lst := m.SiderealTime(l.rig.Site.Lon)
	sky := rig.MountSky{Sidereal: lst, Lat: l.rig.Site.Lat}
	if l.rig.Mount.Refracts {
		air := l.rig.Air()
		sky.Lift, sky.Sink = air.Observed, air.True
	}
	ra, dec, side := l.rig.Unmap(sky, at.Add(off))
	turned := unit.Angle(question.SiderealRate) // in the second since the sample
	s := question.Sample{
		Time: now.Add(-time.Second), Received: now.Add(-time.Second), Doing: question.AtRest, Sidereal: ptr((lst - turned).Positive()),
		Belief: &question.Belief{Sky: question.Sky{RA: (ra - turned).Positive(), Dec: dec, Frame: question.OfDate}, Side: side},
		Site:   &question.Place{Lat: l.rig.Site.Lat, Lon: l.rig.Site.Lon},
	}
	state := question.RigState{
		Pose:   question.Pose{State: question.Known, Candidates: []question.Candidate{{Axes: at, Sigma: rig.DegAxes(0.02, 0.02)}}, Source: rig.MotorCount, At: s.Time, HomingID: "h1"},
		Sample: &s, Still: &s, Site: s.Site,
	}
	return facts.Input{
		Question: question.Question{ID: "question-0000000001", Rig: l.rig.ID, Action: a, Sample: &s, Sent: now, At: now, Asker: "test", AttendedBy: "A. Person"},
		Snapshot: question.Snapshot{Rig: state, At: now, Clock: question.Clock{KernelSynced: true, KernelBoundS: 0.01}},
		Rig:      l.rig, Limits: l.limits, Moment: moment, Cells: 20_000,
	}
}

func ptr[T any](v T) *T { return &v }

// reply is a whole answer, without what a group adds to it.
type reply struct {
	verdict  verdict.Verdict
	facts    facts.Set
	ends     []facts.End
	findings []verdict.Finding
}

// answer judges: facts, rules, verdict. change may take facts away between the two.
func (l lawRig) answer(t *testing.T, in facts.Input, change func(facts.Set)) reply {
	t.Helper()
	out := facts.Compute(in)
	if change != nil {
		change(out.Facts)
	}
	sub := decide.Subject(in.Rig, in.Question.Action)
	found := l.rules.Judge(t.Context(), sub, out.Facts, in.Snapshot.At)
	v := verdict.Combine(found, l.rules.IDs(), rules.Required(sub))
	verdict.Sort(found)
	return reply{v, out.Facts, out.Ends, found}
}

// why is what did not pass.
func (r reply) why() string {
	s := string(r.verdict)
	for _, f := range r.findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			s += fmt.Sprintf("\n  %s %s: %s", f.Effect, f.Rule, f.Sentence)
		}
	}
	return s
}

// spare is the room left on the way, mm.
func (r reply) spare(t *testing.T) float64 {
	t.Helper()
	f := r.facts["clearance_spare_mm"]
	if f.Number == nil {
		return math.Inf(-1) // not settled within its work: a hold
	}
	return *f.Number
}

// within is a pose within travel, some degrees from its ends.
func (l lawRig) within(g *rand.Rand, from float64) rig.Axes {
	low, high := l.rig.Travel.Low, l.rig.Travel.High
	pick := func(a, b unit.Angle) float64 { return a.Deg() + from + g.Float64()*(b.Deg()-a.Deg()-2*from) }
	return rig.DegAxes(pick(low.A1, high.A1), pick(low.A2, high.A2))
}

// random is a motion: by axes, to the sky, or tracking.
func (l lawRig) random(g *rand.Rand) question.Action {
	switch g.IntN(4) {
	case 0, 1:
		return byAxes(l.within(g, -2))
	case 2:
		at := l.star(g)
		return question.Action{Kind: question.Slew, Sky: &at, Follow: time.Duration(g.IntN(3)) * 40 * time.Minute}
	}
	return question.Action{Kind: question.Track, Follow: time.Duration(1+g.IntN(240)) * time.Minute}
}

func byAxes(to rig.Axes) question.Action { return question.Action{Kind: question.Slew, Axes: &to} }

// star is a place of date that stands over the horizon at night, mostly.
func (l lawRig) star(g *rand.Rand) question.Sky {
	m, _ := moment(l.night())
	hour := frame.SiteFromHour[frame.Rig](l.rig.Site.Lat).Inverse().Apply(frame.Horizon[frame.Rig](unit.Deg(g.Float64()*360), unit.Deg(85*g.Float64()-2)))
	ra, dec := m.FromHour(hour, l.rig.Site.Lon).LonLat()
	return question.Sky{RA: ra.Positive(), Dec: dec, Frame: question.OfDate}
}

// tighter gives some limits other values.
type tighter struct {
	limits.Set
	over map[string]float64
}

func (l tighter) Value(rule, name string) (float64, bool) {
	if v, ok := l.over[rule+" "+name]; ok {
		return v, true
	}
	return l.Set.Value(rule, name)
}

// More margin, uncertainty, overrun, waiting, motion, places, parts or locks, and less knowledge, never turn what is not allowed into an
// allow. Each of them does turn some allow into none, or the law would say nothing.
func TestMoreDoubtNeverTurnsANonAllowIntoAnAllow(t *testing.T) {
	over := func(name string, by float64) func(*facts.Input, *rig.Rig, lawRig, *rand.Rand) {
		return func(in *facts.Input, _ *rig.Rig, l lawRig, g *rand.Rand) {
			rule, of, _ := strings.Cut(name, " ")
			v, _ := l.limits.Value(rule, of)
			in.Limits = tighter{l.limits, map[string]float64{name: v + by*g.Float64()}}
		}
	}
	changes := map[string]func(in *facts.Input, r *rig.Rig, l lawRig, g *rand.Rand){
		"general margin": over("clear/path general_mm", 300),
		"part margin":    over("clear/path part_mm", 300),
		"reaction time":  over("permit start_within_s", 20_000),
		"pose uncertainty": func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) {
			in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.02+2*g.Float64(), 0.02+2*g.Float64())
		},
		"overrun": func(_ *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
			r.Motion.Overrun = r.Motion.Overrun.Add(rig.DegAxes(20*g.Float64(), 20*g.Float64()))
		},
		"it moves": func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
			in.Snapshot.Rig.Sample.Doing = question.Moving
		},
		"begin later":   func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Question.BeginLater = true },
		"order of axes": func(_ *facts.Input, r *rig.Rig, _ lawRig, _ *rand.Rand) { r.Motion.Sharing = rig.AnyOrder },
		"another place": func(in *facts.Input, _ *rig.Rig, l lawRig, g *rand.Rand) {
			p := &in.Snapshot.Rig.Pose
			p.State, p.Because = question.Candidates, "a test"
			p.Candidates = append(slices.Clone(p.Candidates), question.Candidate{Axes: l.within(g, 5), Sigma: rig.DegAxes(0.02, 0.02)})
		},
		"a part more": func(in *facts.Input, r *rig.Rig, l lawRig, g *rand.Rand) {
			to := l.within(g, 5)
			if a := in.Question.Action.Axes; a != nil {
				to = *a
			}
			ball, _ := solid.Sphere(r.Chain.Point2.Add(r.Chain.Direction(to).Scale(300)), 60) // in the tube's way there, or not far from it
			r.Parts = append(slices.Clone(r.Parts), rig.Part{Name: "a ball", Link: rig.Ground, Shapes: []solid.Shape{ball}})
		},
		"a file out by more": func(in *facts.Input, r *rig.Rig, _ lawRig, g *rand.Rand) {
			p := question.Proof{Person: "A. Person", At: in.Snapshot.At, RigDigest: r.Digest, SignsChecked: true}
			if was := in.Snapshot.Rig.Proof; was != nil {
				p = *was
			}
			p.ResidualMM += 300 * g.Float64()
			in.Snapshot.Rig.Proof = &p
		},
		"a lock": func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
			in.Snapshot.Locks = append(in.Snapshot.Locks, question.Lock{ID: "l", SetBy: "A. Person"})
		},
		"no belief": func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Sample.Belief = nil },
		"no time":   func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Rig.Sample.Time = time.Time{} },
		"no clock":  func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Snapshot.Clock = question.Clock{} },
		"no pose": func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) {
			in.Snapshot.Rig.Pose = question.Pose{State: question.Unknown}
		},
		"nobody there": func(in *facts.Input, _ *rig.Rig, _ lawRig, _ *rand.Rand) { in.Question.AttendedBy = "" },
		"less work":    func(in *facts.Input, _ *rig.Rig, _ lawRig, g *rand.Rand) { in.Cells = 1 + g.IntN(3) },
	}
	allowed, asked, turned := 0, 0, map[string]int{}
	eachLawRig(t, 1, func(t *testing.T, l lawRig, g *rand.Rand) {
		for n := range questions(3) {
			at, action := l.within(g, 5), l.random(g)
			off := rig.DegAxes(1.5*g.NormFloat64(), 1.5*g.NormFloat64())
			was := l.answer(t, l.asked(t, at, off, action), nil)
			asked++
			if was.verdict == verdict.Allow {
				allowed++
			}
			for name, change := range changes {
				r := *l.rig
				in := l.asked(t, at, off, action)
				in.Rig = &r
				change(&in, &r, l, g)
				is := l.answer(t, in, nil)
				if was.verdict == verdict.Allow && is.verdict != verdict.Allow {
					turned[name]++
				}
				assert.False(t, was.verdict != verdict.Allow && is.verdict == verdict.Allow,
					"seed %d, %s, question %d, %s from %s: with more of %q it is allowed; it was %s", lawSeed, l.name, n, action.Kind, at, name, was.why())
			}
		}
	})
	assert.Greater(t, allowed, asked/10, "seed %d: of %d questions too few are allowed to say anything", lawSeed, asked)
	assert.Less(t, allowed, asked*9/10, "seed %d: of %d questions too few are refused to say anything", lawSeed, asked)
	for name := range changes {
		assert.Positive(t, turned[name], "seed %d: %q changed no answer", lawSeed, name)
	}
}

// Facts taken away before the rules see them never turn what is not allowed into an allow, and none that a rule needs is missed.
func TestFewerFactsNeverTurnANonAllowIntoAnAllow(t *testing.T) {
	eachLawRig(t, 2, func(t *testing.T, l lawRig, g *rand.Rand) {
		held := 0
		for n := range questions(10) {
			in := l.asked(t, l.within(g, 5), rig.Axes{}, l.random(g))
			was := l.answer(t, in, nil)
			for range 5 {
				var gone []string
				is := l.answer(t, in, func(f facts.Set) {
					for name := range f {
						if g.IntN(8) == 0 {
							gone = append(gone, name)
							if delete(f, name); g.IntN(2) == 0 {
								f.Lack(name, "taken away", "sample")
							}
						}
					}
				})
				slices.Sort(gone)
				assert.False(t, was.verdict != verdict.Allow && is.verdict == verdict.Allow, "seed %d, %s, question %d without %v: it was %s", lawSeed, l.name, n, gone, was.why())
				if is.verdict != was.verdict {
					held++
				}
			}
		}
		assert.Positive(t, held, "seed %d, %s: nothing taken away mattered", lawSeed, l.name)
	})
}

// Part of an allowed way is allowed, and the way back has the room of the way there.
func TestPartOfAnAllowedWayIsAllowedAndTheWayBackIsAsClear(t *testing.T) {
	allowed := 0
	eachLawRig(t, 3, func(t *testing.T, l lawRig, g *rand.Rand) {
		r := *l.rig
		r.Motion.Sharing = rig.Straight // of the others part of a way is no way between its ends
		l.rig = &r
		for n := range questions(12) {
			a, b := l.within(g, 5), l.within(g, 5)
			there, back := l.answer(t, l.asked(t, a, rig.Axes{}, byAxes(b)), nil), l.answer(t, l.asked(t, b, rig.Axes{}, byAxes(a)), nil)
			if s := there.spare(t); math.Abs(s) > lawSlackMM {
				assert.Equal(t, s > 0, back.spare(t) > 0, "seed %d, %s, question %d: %s to %s leaves %.2f mm, back %.2f mm", lawSeed, l.name, n, a, b, s, back.spare(t))
			}
			_, alt := frame.AzAlt(l.rig.Chain.Direction(a))
			if there.verdict != verdict.Allow || there.spare(t) < lawSlackMM || alt < -2*unit.Degree {
				continue // of a tube below the floor that may rise, the part that ends there may not
			}
			allowed++
			assert.InDelta(t, there.spare(t), back.spare(t), lawSlackMM, "seed %d, %s, question %d: %s and %s", lawSeed, l.name, n, a, b)
			u, v := g.Float64(), g.Float64()
			from, to := a.Add(b.Sub(a).Scale(min(u, v))), a.Add(b.Sub(a).Scale(max(u, v)))
			part := l.answer(t, l.asked(t, from, rig.Axes{}, byAxes(to)), nil)
			assert.Equal(t, verdict.Allow, part.verdict, "seed %d, %s, question %d: %s to %s is allowed, %s to %s of it is %s", lawSeed, l.name, n, a, b, from, to, part.why())
		}
	})
	assert.Greater(t, allowed, 10, "seed %d", lawSeed)
}

// One sidereal day later the same star gives the same axes and the same answer.
func TestASiderealDayLaterTheAnswerIsTheSame(t *testing.T) {
	day := 86164090530800 * time.Nanosecond // 86400 s / 1.00273781191135448
	eachLawRig(t, 4, func(t *testing.T, l lawRig, g *rand.Rand) {
		for n := range questions(6) {
			star := l.star(g)
			in := l.asked(t, l.within(g, 5), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star, Follow: time.Duration(g.IntN(2)) * time.Hour})
			first := l.answer(t, in, nil)
			s := *in.Snapshot.Rig.Sample
			s.Time, s.Received = s.Time.Add(day), s.Received.Add(day)
			in.Question.At, in.Question.Sent, in.Question.Sample = in.Question.At.Add(day), in.Question.Sent.Add(day), &s
			in.Snapshot.At, in.Snapshot.Rig.Sample, in.Snapshot.Rig.Still = in.Snapshot.At.Add(day), &s, &s
			in.Snapshot.Rig.Pose.At = in.Snapshot.Rig.Pose.At.Add(day)
			then := l.answer(t, in, nil)
			what := fmt.Sprintf("seed %d, %s, question %d", lawSeed, l.name, n)
			sameEnds(t, what, l.rig, first.ends, then.ends)
			if clearCut(t, first) {
				assert.Equal(t, first.verdict, then.verdict, "seed %d, %s, question %d: %s\nthen %s", lawSeed, l.name, n, first.why(), then.why())
			}
		}
	})
}

// sameEnds wants each end of either answer among those of the other, to what precession and nutation do in a day. Whether two that are one to
// rounding are told as one says nothing.
func sameEnds(t *testing.T, what string, r *rig.Rig, one, two []facts.End) {
	t.Helper()
	for _, pair := range [][2][]facts.End{{one, two}, {two, one}} {
		for _, e := range pair[0] {
			assert.True(t, slices.ContainsFunc(pair[1], func(o facts.End) bool {
				turns := e.Axes.Sub(o.Axes).Abs().Max() < unit.HalfTurn // the same branch
				return turns && r.Chain.Direction(e.Axes).Angle(r.Chain.Direction(o.Axes)).Arcsec() < 4
			}), "%s: %s (%s) is not among %v", what, e.Axes, e.Because, pair[1])
		}
	}
}

// clearCut tells whether no number of an answer lies so near its limit that rounding decides.
func clearCut(t *testing.T, r reply) bool {
	t.Helper()
	for _, f := range r.findings {
		counted := slices.Contains([]string{"deg", "mm", "s"}, f.Unit)
		if counted && f.Fact != nil && f.Fact.Number != nil && f.Limit != nil && math.Abs(*f.Fact.Number-*f.Limit) < 0.02*(1+math.Abs(*f.Limit)) {
			return false
		}
	}
	return math.Abs(r.spare(t)) > lawSlackMM
}

// Mirrored, site and rig and question, south for north, the answer is the same, and its ends are the mirrored ones.
func TestMirroredSiteAndRigMirrorTheAnswer(t *testing.T) {
	all, err := lawRigs()
	require.NoError(t, err)
	same, allowed := 0, 0
	for i := 0; i < len(all); i += 2 {
		l, other := all[i], all[i+1]
		g := rand.New(rand.NewPCG(lawSeed+5, uint64(i)))
		for n := range questions(15) {
			at, action := l.within(g, 5), l.random(g)
			mirrored := action
			if action.Axes != nil {
				mirrored.Axes = ptr(l.twin(*action.Axes))
			}
			if action.Sky != nil {
				s := *action.Sky
				s.Dec = -s.Dec
				mirrored.Sky = &s
			}
			one := l.answer(t, l.asked(t, at, rig.Axes{}, action), nil)
			two := other.answer(t, other.asked(t, l.twin(at), rig.Axes{}, mirrored), nil)
			what := fmt.Sprintf("seed %d, %s, question %d: %s from %s", lawSeed, l.name, n, action.Kind, at)
			if !clearCut(t, one) || !clearCut(t, two) {
				continue
			}
			same++
			if one.verdict == verdict.Allow {
				allowed++
				assert.InDelta(t, one.spare(t), two.spare(t), lawSlackMM, what)
			}
			assert.Equal(t, one.verdict, two.verdict, "%s: %s\nmirrored %s", what, one.why(), two.why())
			for k := range one.ends {
				one.ends[k].Axes = l.twin(one.ends[k].Axes)
			}
			sameEnds(t, what, other.rig, one.ends, two.ends)
		}
	}
	assert.Greater(t, same, 20, "seed %d", lawSeed)
	assert.Greater(t, allowed, 5, "seed %d", lawSeed)
}

// In another order of parts and of the rules' facts not one byte of the findings is another.
func TestOrderChangesNoByteOfTheFindings(t *testing.T) {
	eachLawRig(t, 6, func(t *testing.T, l lawRig, g *rand.Rand) {
		for n := range questions(6) {
			in := l.asked(t, l.within(g, 5), rig.DegAxes(g.NormFloat64(), 0), l.random(g))
			first := l.answer(t, in, nil)
			want := lines(t, first.findings)
			r := *l.rig
			r.Parts, r.Allowed = shuffled(g, l.rig.Parts, l.rig.Allowed)
			in.Rig = &r
			again := l.answer(t, in, func(f facts.Set) { // put in anew, in another order
				names := f.Names()
				g.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
				held := map[string]facts.Fact{}
				for _, name := range names {
					held[name] = f[name]
					delete(f, name)
				}
				for _, name := range names {
					f[name] = held[name]
				}
			})
			assert.Equal(t, want, lines(t, again.findings), "seed %d, %s, question %d", lawSeed, l.name, n)
		}
	})
}

// lines are the bytes of findings, one finding a line.
func lines(t *testing.T, found []verdict.Finding) string {
	t.Helper()
	var out strings.Builder
	for _, f := range found {
		b, err := json.Marshal(f)
		require.NoError(t, err)
		out.Write(append(b, '\n'))
	}
	return out.String()
}

// shuffled puts parts in another order, with the pairs that always touch.
func shuffled(g *rand.Rand, parts []rig.Part, allowed [][2]int) ([]rig.Part, [][2]int) {
	order := g.Perm(len(parts))
	place := make([]int, len(parts))
	out := make([]rig.Part, len(parts))
	for to, from := range order {
		out[to], place[from] = parts[from], to
	}
	var pairs [][2]int
	for _, p := range allowed {
		pairs = append(pairs, [2]int{place[p[0]], place[p[1]]})
	}
	return out, pairs
}
