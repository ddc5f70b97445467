package rehearse_test

import (
	"context"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rehearse"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

func member(t *testing.T) decide.Member {
	t.Helper()
	content, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(t, err)
	r, bad := rig.Parse("heron.yaml", content, nil)
	require.NotNil(t, r, "%v", bad)
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	own := limits.Layer{Name: "rig heron"}
	for _, l := range r.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value})
	}
	lim, err := limits.Merge(defs, own)
	require.NoError(t, err)
	set, err := rules.Load(policies.Files(), lim)
	require.NoError(t, err)
	return decide.Member{Rig: r, Limits: lim, Rules: set}
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

func slew(raDeg, decDeg float64, track time.Duration) question.Action {
	return question.Action{Kind: question.Slew, Sky: &question.Sky{RA: unit.Deg(raDeg), Dec: unit.Deg(decDeg), Frame: question.ICRS}, Follow: track}
}

// A plan: each step begins where the one before would end; one that must stop early says until when; nothing carries leave, and what only
// the night can show is set aside.
func TestPlan(t *testing.T) {
	now := time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)
	later := now.Add(20 * time.Minute)
	plan := rehearse.Plan{
		Member: member(t), Moment: moment, Cells: int(reach.DefaultBudget), Now: now,
		Steps: []rehearse.Step{{Action: slew(38.20, 61.45, time.Hour), Start: &later}, {Action: slew(38.20, 61.45, 3*time.Hour)}, {Action: question.Action{Kind: question.Home}}},
	}
	out, err := rehearse.Rehearse(context.Background(), plan)
	require.NoError(t, err)
	require.Len(t, out, 3)
	assert.Equal(t, verdict.Allow, out[0].Answer.Verdict, out[0].Answer.Sentence)
	assert.Equal(t, later, out[0].Start)
	assert.Equal(t, verdict.Deny, out[1].Answer.Verdict, "the camera nears a leg")
	assert.Equal(t, out[0].End, out[1].Start, "a step begins when the one before ends")
	require.NotNil(t, out[1].PassesUntil)
	assert.True(t, out[1].PassesUntil.Before(out[1].End))
	assert.True(t, out[1].PassesUntil.After(out[1].Start))
	for _, o := range out {
		assert.Nil(t, o.Answer.Permit)
		assert.Nil(t, o.Answer.Leave)
		for _, f := range o.Answer.Findings {
			if f.Rule == "lock/none" || f.Rule == "time/agree" || f.Rule == "pose/fresh" {
				assert.Equal(t, verdict.NotApplicable, f.Effect, f.Rule)
			}
		}
	}
	// The same step shortened to what it said passes, and one minute more does not.
	for _, c := range []struct {
		more time.Duration
		want verdict.Verdict
	}{{-time.Minute, verdict.Allow}, {time.Minute, verdict.Deny}} {
		p := plan
		motion := out[1].End.Sub(out[1].Start) - 3*time.Hour
		p.Steps = []rehearse.Step{plan.Steps[0], {Action: slew(38.20, 61.45, out[1].PassesUntil.Sub(out[1].Start)-motion+c.more)}}
		again, err := rehearse.Rehearse(context.Background(), p)
		require.NoError(t, err)
		assert.Equal(t, c.want, again[1].Answer.Verdict, "%v more: %s", c.more, again[1].Answer.Sentence)
	}
}

// TestSlowestMotionEndsAfterItsStart, however many years that is.
func TestSlowestMotionEndsAfterItsStart(t *testing.T) {
	rate, by := unit.Deg(1e-12), rig.DegAxes(3, 0)
	out, err := rehearse.Rehearse(context.Background(), rehearse.Plan{
		Member: member(t), Moment: moment, Cells: int(reach.DefaultBudget), Now: time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC),
		Steps: []rehearse.Step{{Action: question.Action{Kind: question.Jog, Axes: &by, Rate: &rate}}},
	})
	require.NoError(t, err)
	assert.True(t, out[0].End.After(out[0].Start), "%v", out[0].End)
	assert.NotEqual(t, verdict.Allow, out[0].Answer.Verdict)
}

// What gauges found of the file widens the gaps of an outlook as it does those of the night: a step ends sooner.
func TestOutlookCountsWhatGaugesFound(t *testing.T) {
	now := time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)
	m := member(t)
	plan := rehearse.Plan{Member: m, Moment: moment, Cells: int(reach.DefaultBudget), Now: now, Steps: []rehearse.Step{{Action: slew(38.20, 61.45, 6*time.Hour)}}}
	plain, err := rehearse.Rehearse(context.Background(), plan)
	require.NoError(t, err)
	plan.Proof = &question.Proof{Person: "A. Person", RigDigest: m.Rig.Digest, SignsChecked: true, ResidualMM: 30}
	wide, err := rehearse.Rehearse(context.Background(), plan)
	require.NoError(t, err)
	require.NotNil(t, plain[0].PassesUntil)
	require.NotNil(t, wide[0].PassesUntil)
	assert.True(t, wide[0].PassesUntil.Before(plain[0].PassesUntil.Add(-time.Minute)), "%s, %s", wide[0].PassesUntil, plain[0].PassesUntil)
}

// A step beyond the years that tables cover is told as that, by its place, and not as a pose, a homing or a clock that lacks. What begins now is the
// question's own: there the service's clock is off.
func TestBeyondTheTablesIsToldAsThat(t *testing.T) {
	now := time.Date(2050, 12, 31, 23, 50, 0, 0, time.UTC)
	home := question.Action{Kind: question.Home}
	for _, c := range []struct {
		at   time.Time
		want string
	}{
		{time.Date(2050, 12, 31, 23, 59, 59, 0, time.UTC), ""},
		{time.Date(2051, 1, 1, 0, 0, 0, 0, time.UTC), "2051-01-01T00:00:00Z"},
		{time.Date(2060, 1, 1, 0, 0, 0, 0, time.UTC), "2060-01-01T00:00:00Z"},
	} {
		_, err := rehearse.Rehearse(t.Context(), rehearse.Plan{Member: member(t), Moment: moment, Cells: 1000, Now: now, Steps: []rehearse.Step{{Action: home, Start: &c.at}}})
		if c.want == "" {
			require.NoError(t, err)
			continue
		}
		var faults *decide.ConflictError
		require.ErrorAs(t, err, &faults)
		assert.Equal(t, []decide.FieldFault{{
			Path: "steps[0].start_time", Wanted: "an instant for which Earth and sky can be worked out (1990 to 2050)", Got: c.want, Remedy: "rehearse one nearer to now",
		}}, faults.Faults)
	}
	_, err := rehearse.Rehearse(t.Context(), rehearse.Plan{Member: member(t), Moment: moment, Cells: 1000, Now: now, Steps: []rehearse.Step{{Action: slew(38.20, 61.45, time.Hour)}, {Action: home}}})
	var faults *decide.ConflictError
	require.ErrorAs(t, err, &faults, "what follows a long step")
	assert.Equal(t, "steps[1].start_time", faults.Faults[0].Path)
	out, err := rehearse.Rehearse(t.Context(), rehearse.Plan{Member: member(t), Moment: moment, Cells: 1000, Now: now.AddDate(1, 0, 0), Steps: []rehearse.Step{{Action: home}}})
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, out[0].Answer.Verdict)
}

// A rehearsal whose asker goes in the middle has no outlook: what would be judged after that, none of it passing, is not the night's.
func TestRehearsalEndsWithItsAsker(t *testing.T) {
	now := time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)
	later := now.Add(20 * time.Minute)
	for name, last := range map[string]int{"in the middle": 3, "in the last step": 1} {
		ctx, cancel := context.WithCancel(t.Context())
		m := member(t)
		m.Rules = leaving{m.Rules, cancel}
		steps := make([]rehearse.Step, last)
		for i := range steps {
			steps[i] = rehearse.Step{Action: slew(38.20, 61.45, time.Minute), Start: &later}
		}
		out, err := rehearse.Rehearse(ctx, rehearse.Plan{Member: m, Moment: moment, Cells: int(reach.DefaultBudget), Now: now, Steps: steps})
		require.ErrorIs(t, err, context.Canceled, name)
		assert.Empty(t, out, name)
	}
}

// leaving stands for the rules: the asker goes while they judge.
type leaving struct {
	rules decide.Judge
	leave func()
}

func (l leaving) IDs() []string { return l.rules.IDs() }

func (l leaving) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	l.leave()
	return l.rules.Judge(ctx, sub, f, at)
}
