package slow_test

import (
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/slow"
	"keepclear.example/keepclear/service/internal/verdict"
)

// soleReasons are questions by the one rule that keeps each from being allowed. A run prints them ("sole reason"); where the lot is changed
// they have to be taken from a new one.
func soleReasons() map[string]int {
	return map[string]int{
		"asker/fallback": 1001509, "belief/agrees": 1000394, "clear/opens": 1000540, "clear/path": 1000925, "end/bounded": 1000215, "lock/none": 1000233,
		"mount/map": 1000226, "pose/fresh": 1000224, "pose/known": 1000375, "pose/sharp": 1000328, "rig/proven": 1000228, "sky/floor": 1000221,
		"sky/horizon": 1000415, "solve/blind": 1001022, "solve/fresh": 1000423, "solve/optics": 1000292, "solve/quality": 1000488,
		"solve/still": 1000479, "sun/apart": 1000259, "sync/expected": 1000882, "sync/given": 1000623, "sync/jump": 1000593, "sync/rate": 1001171,
		"sync/second": 1000524, "sync/sum": 1003862, "sync/walk": 1000335, "time/agree": 1000290, "track/fits": 1001290, "travel/axis1": 1000439,
		"travel/axis2": 1001000,
	}
}

// A set of rules in which one always passes allows what it must not, and the second opinion says so: for every rule.
func TestEachRuleMissedIsAWrongAllow(t *testing.T) {
	for rule, n := range soleReasons() {
		s, err := stand(n / perRig)
		require.NoError(t, err)
		q := s.draw(n)
		real := s.ask(q, int(reach.DefaultBudget))
		require.NotEqual(t, verdict.Allow, real.verdict, "question %d, that %s refuses", n, rule)
		blind := verdict.Finding{Rule: rule, Effect: verdict.Passes, Code: "blind"}
		real.findings[rule] = blind
		real.verdict = verdict.Combine(findings(real), s.rules.IDs(), rules.Required(subject(s, q)))
		if !assert.Equal(t, verdict.Allow, real.verdict, "question %d with %s blind", n, rule) {
			continue
		}
		r := newResult()
		r.compare(s, n, q, real, dense)
		assert.NotEmpty(t, r.wrong, "question %d with %s blind: the second opinion convicts it", n, rule)
	}
	for rule := range bands() {
		assert.Contains(t, soleReasons(), rule, "every rule is the only reason of some question")
	}
}

func findings(a answered) []verdict.Finding {
	var out []verdict.Finding
	for _, id := range sorted(a.findings) {
		out = append(out, a.findings[id])
	}
	return out
}

// broken are ways in which facts may be wrong.
func broken() map[string]func(*facts.Input) {
	return map[string]func(*facts.Input){
		"no uncertainty": func(in *facts.Input) {
			all := slices.Clone(in.Snapshot.Rig.Pose.Candidates)
			for i := range all {
				all[i].Sigma = rig.Axes{}
			}
			in.Snapshot.Rig.Pose.Candidates = all
		},
		"only the likeliest place": func(in *facts.Input) {
			p := &in.Snapshot.Rig.Pose
			p.Candidates = p.Candidates[:min(1, len(p.Candidates))]
		},
		"no margins": func(in *facts.Input) { in.Limits = marginless{in.Limits} },
		"two hours late": func(in *facts.Input) {
			in.Moment = func(t time.Time) (*sky.Moment, error) { return moment(t.Add(2 * time.Hour)) }
		},
		"syncs never kept": func(in *facts.Input) { in.Rig = with(in.Rig, func(r *rig.Rig) { r.Mount.Sync = rig.KeptOnSky }) },
		"straight ways":    func(in *facts.Input) { in.Rig = with(in.Rig, func(r *rig.Rig) { r.Motion.Sharing = rig.Straight }) },
		"no way-points":    func(in *facts.Input) { in.Rig = with(in.Rig, func(r *rig.Rig) { r.Motion.Via = nil }) },
		"sides as asked":   func(in *facts.Input) { in.Rig = with(in.Rig, func(r *rig.Rig) { r.Mount.Chooses = rig.AskerChooses }) },
		"no thing around":  func(in *facts.Input) { in.Rig = with(in.Rig, func(r *rig.Rig) { r.Parts = r.Parts[1:] }) },
		"half as far":      func(in *facts.Input) { in.Question.Action.Follow /= 2 },
		"other hemisphere": func(in *facts.Input) {
			in.Rig = with(in.Rig, func(r *rig.Rig) { r.Chain.Dir1 = r.Chain.Dir1.Scale(-1) })
		},
		"mirrored solves": func(in *facts.Input) {
			if v := in.Question.Action.Solve; v != nil {
				other := *v
				other.Rotation, other.Mirrored = nil, nil
				in.Rig = with(in.Rig, func(r *rig.Rig) { r.Solver.NoRotation, r.Solver.NoMirror = true, true })
				in.Question.Action.Solve = &other
			}
		},
		"no doubts": func(in *facts.Input) {
			in.Snapshot.Rig.Solves = nil
			in.Snapshot.Rig.Learnt = map[rig.Side]question.Offsets{rig.East: {}, rig.First: {}}
		},
	}
}

func with(r *rig.Rig, change func(*rig.Rig)) *rig.Rig {
	out := *r
	change(&out)
	return &out
}

// marginless are limits without margins.
type marginless struct{ facts.Limits }

func (m marginless) Value(rule, name string) (float64, bool) {
	if rule == "clear/path" {
		return 0, true
	}
	return m.Limits.Value(rule, name)
}

// Facts that are wrong in one way are convicted within some hundred questions.
func TestWrongFactsAreConvicted(t *testing.T) {
	if os.Getenv("KEEPCLEAR_LONG") == "" {
		return
	}
	for name, change := range broken() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			assert.Less(t, convicted(t, change), mostQuestions, "questions until the second opinion noticed")
		})
	}
}

const mostQuestions = 1500

// convicted is how many questions were asked until wrong facts were noticed.
func convicted(t *testing.T, change func(*facts.Input)) int {
	var s *stood
	for n := range mostQuestions {
		rigNumber := n / 20
		if n%20 == 0 {
			var err error
			s, err = stand(rigNumber)
			require.NoError(t, err)
		}
		q := s.draw(rigNumber*perRig + n%20)
		in := s.input(q)
		change(&in)
		r, real := newResult(), s.judge(in)
		r.compare(s, rigNumber*perRig+n%20, q, real, effort(n, real))
		if len(r.passes) > 0 {
			t.Log(n, r.passes[0])
			return n
		}
	}
	return mostQuestions
}

// A second opinion that sees nothing wrong would convict nobody: of poses drawn by lot some are clear and some are not.
func TestTheSecondOpinionTellsApart(t *testing.T) {
	s, err := stand(0)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(1, 1))
	clear := 0
	for range 200 {
		if s.slow.Clear(slow.Axes{7 * rng.Float64(), 7 * rng.Float64()}, s.drawn.limits) > 0 {
			clear++
		}
	}
	assert.Greater(t, clear, 10)
	assert.Less(t, clear, 190)
}
