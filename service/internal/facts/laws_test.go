package facts_test

import (
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Laws that need no oracle: what follows for one question from the answer to another. A proven bound may be short of the truth by what
// the prover's own tightness leaves; slackMM is above that.
const slackMM = 2.0

// Wider uncertainty, more margin, more overrun: none of them gives more to spare.
func TestMoreDoubtGivesNoMoreToSpare(t *testing.T) {
	rng := rand.New(rand.NewPCG(91, 92))
	base := heron(t)
	for range 60 {
		pose := rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150)
		a := axesSlew(rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150))
		spare := func(change func(in *facts.Input, r *rig.Rig)) facts.Set {
			r := *base
			in := standing(t, &r, pose, rig.Axes{}, a)
			change(&in, &r)
			return facts.Compute(in).Facts
		}
		plain := spare(func(*facts.Input, *rig.Rig) {})
		for name, change := range map[string]func(*facts.Input, *rig.Rig){
			"sigma":   func(in *facts.Input, _ *rig.Rig) { in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1, 1) },
			"overrun": func(_ *facts.Input, r *rig.Rig) { r.Motion.Overrun = rig.DegAxes(2, 2) },
			"begin":   func(in *facts.Input, _ *rig.Rig) { in.Question.BeginLater = true },
			"moving":  func(in *facts.Input, _ *rig.Rig) { in.Snapshot.Rig.Sample.Doing = question.Moving },
			"order":   func(_ *facts.Input, r *rig.Rig) { r.Motion.Sharing = rig.AnyOrder },
			"margin": func(in *facts.Input, _ *rig.Rig) {
				wide := defaults()
				wide["clear/path general_mm"] = 40
				in.Limits = wide
			},
		} {
			more := spare(change)
			was, is := number(t, plain, "clearance_spare_mm"), number(t, more, "clearance_spare_mm")
			if was < 0 { // how deep a failing way goes is looked for no further than to a contact
				assert.Negative(t, is, "%s: %v to %v", name, pose, a.Axes)
			} else {
				assert.LessOrEqual(t, is, was+slackMM, "%s: %v to %v", name, pose, a.Axes)
			}
			assert.LessOrEqual(t, number(t, more, "altitude_min_deg"), number(t, plain, "altitude_min_deg")+0.05, name)
			assert.LessOrEqual(t, number(t, more, "axis1_travel_min_deg"), number(t, plain, "axis1_travel_min_deg")+1e-9, name)
		}
	}
}

// The way back has the clearance of the way there; a part of a way no less than the whole.
func TestWayBackAndPartOfAWay(t *testing.T) {
	rng := rand.New(rand.NewPCG(93, 94))
	r := *heron(t)
	r.Motion.Sharing = rig.Straight
	for range 60 {
		a, b := rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150), rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150)
		spare := func(from, to rig.Axes) float64 {
			return number(t, facts.Compute(standing(t, &r, from, rig.Axes{}, axesSlew(to))).Facts, "clearance_spare_mm")
		}
		there := spare(a, b)
		back := spare(b, a)
		assert.Equal(t, there >= 0, back >= 0, "%v and %v", a, b)
		if there >= 0 {
			assert.InDelta(t, there, back, slackMM, "%v and %v", a, b)
			half := a.Add(b.Sub(a).Scale(rng.Float64()))
			assert.GreaterOrEqual(t, spare(a, half), 0.0, "part of %v to %v", a, b)
			assert.GreaterOrEqual(t, spare(half, b), 0.0, "part of %v to %v", a, b)
		}
	}
}

// One sidereal day later the same star of date asks for the same axes.
func TestOneSiderealDayLater(t *testing.T) {
	r := heron(t)
	star := question.Sky{RA: unit.Deg(38.2), Dec: unit.Deg(41.5), Frame: question.OfDate}
	day := 86164090530800 * time.Nanosecond // a sidereal day: 86400 s / 1.00273781191135448
	in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})
	first := facts.Compute(in)
	s := *in.Snapshot.Rig.Sample
	s.Time, s.Received = s.Time.Add(day), s.Received.Add(day)
	in.Question.At, in.Snapshot.At, in.Snapshot.Rig.Sample = in.Question.At.Add(day), in.Snapshot.At.Add(day), &s
	then := facts.Compute(in)
	for _, e := range then.Ends { // with belief right all ends are one, to rounding
		assert.InDelta(t, 0, e.Axes.Sub(first.Ends[0].Axes).Abs().Max().Arcsec(), 3, "precession and nutation of a day are under 2″")
	}
	assert.InDelta(t, number(t, first.Facts, "clearance_spare_mm"), number(t, then.Facts, "clearance_spare_mm"), 0.1)
}

// A rig mirrored south for north, everything on its ground with it, has the same clearance at the same axis angles.
func TestMirroredRig(t *testing.T) {
	north := heron(t)
	content, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(t, err)
	text := strings.NewReplacer("latitude_deg: 46.20", "latitude_deg: -46.20", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125",
		"[0, 120, 240]", "[180, 60, 300]").Replace(string(content))
	south, bad := rig.Parse("heron.yaml", []byte(text), nil)
	require.NotNil(t, south, "%v", bad)
	rng := rand.New(rand.NewPCG(95, 96))
	for range 60 {
		a, b := rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150), rig.DegAxes(rng.Float64()*160-80, rng.Float64()*300-150)
		one := facts.Compute(standing(t, north, a, rig.Axes{}, axesSlew(b))).Facts
		two := facts.Compute(standing(t, south, a, rig.Axes{}, axesSlew(b))).Facts
		for _, name := range []string{"altitude_min_deg", "axis1_travel_max_deg"} {
			assert.InDelta(t, number(t, one, name), number(t, two, name), 0.05, "%s from %v to %v", name, a, b)
		}
		n, s := number(t, one, "clearance_spare_mm"), number(t, two, "clearance_spare_mm")
		assert.Equal(t, n >= 0, s >= 0, "from %v to %v", a, b)
		if n >= 0 {
			assert.InDelta(t, n, s, slackMM, "from %v to %v", a, b)
		}
	}
}

// Less knowledge never makes a number of what was missing, and leaves no fact less careful.
func TestLessKnowledgeGivesNoMoreNumbers(t *testing.T) {
	r := heron(t)
	star := question.Sky{RA: unit.Deg(20), Dec: unit.Deg(40), Frame: question.OfDate}
	for name, forget := range map[string]func(*facts.Input){
		"belief":   func(in *facts.Input) { in.Snapshot.Rig.Sample.Belief = nil },
		"time":     func(in *facts.Input) { in.Snapshot.Rig.Sample.Time = time.Time{} },
		"sidereal": func(in *facts.Input) { in.Snapshot.Rig.Sample.Sidereal = nil },
		"site":     func(in *facts.Input) { in.Snapshot.Rig.Site = nil },
		"pose":     func(in *facts.Input) { in.Snapshot.Rig.Pose = question.Pose{State: question.Unknown} },
		"clock":    func(in *facts.Input) { in.Snapshot.Clock = question.Clock{} },
	} {
		a := question.Action{Kind: question.Slew, Sky: &star, Follow: time.Hour}
		whole := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, a)).Facts
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, a)
		forget(&in)
		less := facts.Compute(in).Facts
		missing := 0
		for n, f := range less {
			if f.Missing != "" {
				missing++
				assert.NotEmpty(t, f.Need, "%s without %s", n, name)
			}
			if f.Number != nil {
				require.Contains(t, whole, n, "without %s", name)
				assert.NotNil(t, whole[n].Number, "%s without %s", n, name)
			}
		}
		assert.Positive(t, missing, "without %s something must be missing", name)
	}
}
