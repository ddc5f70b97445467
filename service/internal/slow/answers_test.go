package slow_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/slow"
	"keepclear.example/keepclear/service/internal/verdict"
)

// perRig is how many questions each rig is asked: question n is n%perRig of rig n/perRig.
const perRig = 200

// band is how far a spare may be off: below -sure the rule must not pass, above wide it must.
type band struct{ sure, wide float64 }

// bands are by rule, in the unit of its limit: sure covers the sky's short formulas (0.03°; of a walk a fifth of an arcminute, where sigma is two)
// and the gaps' (0.05 mm), wide what a proof may leave unsaid beside.
func bands() map[string]band {
	return map[string]band{
		"lock/none": {0.5, 0}, "pose/known": {0, 0}, "pose/fresh": {0.001, 0.001}, "pose/sharp": {0.001, 0.02}, "belief/agrees": {0.03, 0.03},
		"end/bounded": {0.05, 0.1}, "clear/path": {1, 5}, "clear/opens": {0.01, 0.2}, "travel/axis1": {0.03, 0.1}, "travel/axis2": {0.03, 0.1}, "sky/floor": {0.03, 0.2},
		"sky/horizon": {0.03, 0.2}, "sun/apart": {0.05, 0.3}, "track/fits": {1, 60}, "asker/fallback": {100, 600}, "solve/fresh": {0.001, 0.001},
		"solve/still": {2, 2}, "solve/optics": {0.3, 0.3}, "solve/quality": {0.02, 0.02}, "solve/blind": {0.001, 0.001}, "sync/expected": {2, 2},
		"sync/second": {0.5, 0.5}, "sync/jump": {0.05, 0.05}, "sync/sum": {0.05, 0.05}, "sync/rate": {0.5, -0.5}, "sync/given": {0.01, 0.01}, "sync/walk": {0.1, 0.1}, "time/agree": {0.001, 0.001},
		"mount/map": {0.006, 0.006}, "rig/proven": {0.001, 0.001},
	}
}

// of is the band of a rule for a rig: a map that includes refraction is known less well here.
func (s *stood) band(rule string) band {
	b := bands()[rule]
	if s.slow.Refracts {
		switch rule {
		case "clear/path":
			return band{6, 15}
		case "asker/fallback", "track/fits":
			return band{b.sure + 200, b.wide + 600}
		case "solve/still", "sync/second", "pose/known", "pose/sharp", "lock/none", "mount/map":
			return b
		}
		return band{b.sure + 0.3, b.wide + 0.3}
	}
	return b
}

// denies are the rules that deny what fails without the pose's uncertainty too.
func denies() []string {
	return []string{"clear/path", "clear/opens", "travel/axis1", "travel/axis2", "sky/floor", "sky/horizon", "sun/apart", "track/fits", "sync/expected"}
}

// tally is how often what was found of a rule.
type tally struct {
	passed, held, denied int
	sole                 []int // questions for which it is the only reason, by the second opinion too
}

// result is what a run found.
type result struct {
	questions int
	verdicts  map[verdict.Verdict]int
	kinds     map[string]int
	rules     map[string]*tally
	wrong     []string // an allow that must not be
	passes    []string // a rule that passed and must not
	needless  map[string][]string
	denials   map[string][]string // a deny that should be a hold
	lenient   map[string][]string // a hold that should be a deny
	refused   int                 // questions refused though nothing fails
	edges     int                 // questions of which this cannot say
	short     int                 // rules that answer otherwise with the service's own work budget
}

func newResult() *result {
	return &result{verdicts: map[verdict.Verdict]int{}, kinds: map[string]int{}, rules: map[string]*tally{}, needless: map[string][]string{}, denials: map[string][]string{}, lenient: map[string][]string{}}
}

func (r *result) add(o *result) {
	r.questions, r.edges, r.refused, r.short = r.questions+o.questions, r.edges+o.edges, r.refused+o.refused, r.short+o.short
	for k, v := range o.verdicts {
		r.verdicts[k] += v
	}
	for k, v := range o.kinds {
		r.kinds[k] += v
	}
	for k, v := range o.rules {
		t := r.rule(k)
		t.passed, t.held, t.denied, t.sole = t.passed+v.passed, t.held+v.held, t.denied+v.denied, append(t.sole, v.sole...)
	}
	r.wrong, r.passes = append(r.wrong, o.wrong...), append(r.passes, o.passes...)
	for _, both := range []struct{ to, from map[string][]string }{{r.needless, o.needless}, {r.denials, o.denials}, {r.lenient, o.lenient}} {
		for k, v := range both.from {
			both.to[k] = append(both.to[k], v...)
		}
	}
}

func (r *result) rule(id string) *tally {
	if r.rules[id] == nil {
		r.rules[id] = &tally{}
	}
	return r.rules[id]
}

// How much is played of a question; the last before a difference is told.
var (
	usual = slow.Effort{Plays: 4, Points: 10, Day: 50}
	firm  = slow.Effort{Plays: 6, Points: 10, Day: 50, Marches: 4}
	more  = slow.Effort{Plays: 6, Points: 10, Day: 100, Marches: 3, Wide: true}
	dense = slow.Effort{Plays: 24, Points: 30, Day: 400, Marches: 24, Wide: true}
	last  = slow.Effort{Plays: 200, Points: 40, Day: 800, Marches: 200, Wide: true}
)

// denseIn is of how many questions much is played of one at once.
const denseIn = 500

// look asks one question both ways.
func (r *result) look(s *stood, n int) {
	q := s.draw(n)
	real := s.ask(q, cellsOf(n))
	r.compare(s, n, q, real, effort(n, real))
}

// effort is how much of a question is played at first: the more of one that is allowed, and much of some.
func effort(n int, real answered) slow.Effort {
	switch {
	case n%denseIn == 0:
		return dense
	case real.verdict == verdict.Allow:
		return firm
	}
	return usual
}

// comparing is one question under comparison.
type comparing struct {
	*result
	s      *stood
	n      int
	q      *slow.Question
	real   answered
	failed []string  // rules that did not pass
	whole  *answered // with the service's own work budget; nil: not asked for yet
	wrong  string    // a rule that passed and must not
	all    bool      // of every rule that did not pass this says that it passes
}

// compare holds the service's answer against the second opinion.
func (r *result) compare(s *stood, n int, q *slow.Question, real answered, effort slow.Effort) {
	if slow.OnEdge(&s.slow, q, s.drawn.limits) {
		r.edges++
		return
	}
	c := &comparing{result: r, s: s, n: n, q: q, real: real, all: true}
	other := c.think(effort)
	r.questions++
	r.verdicts[real.verdict]++
	r.kinds[q.Kind+" "+string(real.verdict)]++
	c.judges(other)
	for _, rule := range sorted(other) {
		c.rule(rule, other[rule])
	}
	if real.verdict == verdict.Allow && c.wrong != "" {
		r.wrong = append(r.wrong, c.wrong)
	}
	if real.verdict != verdict.Allow && c.all {
		r.refused++
	}
}

func (c *comparing) think(e slow.Effort) slow.Answer {
	return slow.Judge(&c.s.slow, c.q, c.s.drawn.limits, e, rand.New(rand.NewPCG(uint64(c.n), 1618)))
}

// unless is the finding of a rule with more played, and then with more and more, as long as it does not explain what the service says.
func (c *comparing) unless(rule string, explained func(*slow.Finding) bool) (f *slow.Finding, done bool) {
	for _, e := range []slow.Effort{more, dense, last} {
		e.Only, e.Enough = rule, explained
		if f = c.think(e)[rule]; explained(f) {
			return nil, true
		}
	}
	return f, false
}

// short tells whether a rule answers otherwise with the service's own work budget.
func (c *comparing) short(rule string) bool {
	if c.whole == nil {
		c.whole = ptr(c.s.ask(c.q, int(reach.DefaultBudget)))
	}
	if c.whole.findings[rule].Effect == c.real.findings[rule].Effect {
		return false
	}
	c.result.short++
	return true
}

func (c *comparing) say(rule string, f *slow.Finding) string {
	got := c.real.findings[rule]
	return fmt.Sprintf("question %d, rig %d, %s: %s %s (%s): %s", c.n, c.n/perRig, c.q.Kind, rule, got.Effect, got.Code, f.Said)
}

// judges holds against each other which rules judge the question.
func (c *comparing) judges(other slow.Answer) {
	for _, rule := range sorted(c.real.findings) {
		got := c.real.findings[rule]
		if _, judges := other[rule]; !judges != (got.Effect == verdict.NotApplicable) {
			c.result.wrong = append(c.result.wrong, c.say(rule, &slow.Finding{Said: "it judges the question, or does not"}))
		}
		if got.Effect == verdict.Holds || got.Effect == verdict.Denies {
			c.failed = append(c.failed, rule)
		}
	}
	if len(c.real.findings) != len(bands()) {
		c.result.wrong = append(c.result.wrong, fmt.Sprintf("question %d: %d findings", c.n, len(c.real.findings)))
	}
}

// rule holds one rule's finding against what is thought of it.
func (c *comparing) rule(rule string, f *slow.Finding) {
	got, b, t := c.real.findings[rule], c.s.band(rule), c.result.rule(rule)
	fails := f.Seen < -b.sure
	if rule == "solve/optics" {
		fails = f.Seen < -b.sure-f.Slack
	}
	switch got.Effect {
	case verdict.Passes:
		t.passed++
		if fails {
			c.wrong = c.say(rule, f)
			c.passes = append(c.passes, c.wrong)
		}
		return
	case verdict.Holds:
		t.held++
	case verdict.Denies:
		t.denied++
	case verdict.NotApplicable:
	}
	if fails && len(c.failed) == 1 {
		t.sole = append(t.sole, c.n)
	}
	c.refused(rule, f, b, fails)
	c.gravity(rule, got, f, b)
}

// refused holds a refusal against what is thought of the rule.
func (c *comparing) refused(rule string, f *slow.Finding, b band, fails bool) {
	if fails || f.Wide <= b.wide+f.Slack {
		c.all = false
		return
	}
	w, explained := c.unless(rule, func(f *slow.Finding) bool { return f.Wide <= b.wide+f.Slack })
	if explained || c.short(rule) {
		c.all = false
		return
	}
	c.needless[rule] = append(c.needless[rule], fmt.Sprintf("%.3g more than nothing: ", w.Wide)+c.say(rule, w)+c.real.why(rule))
}

// gravity holds deny against hold.
func (c *comparing) gravity(rule string, got verdict.Finding, f *slow.Finding, b band) {
	denied := got.Effect == verdict.Denies
	switch {
	case rule == "solve/optics":
		if f.Denies != denied && f.Missing == "" {
			c.denials[rule] = append(c.denials[rule], c.say(rule, f))
		}
	case !slices.Contains(denies(), rule):
	case denied && f.SharpWide > b.wide+f.Slack:
		f, explained := c.unless(rule, func(f *slow.Finding) bool { return f.SharpWide <= b.wide+f.Slack })
		if !explained && !c.short(rule) {
			c.denials[rule] = append(c.denials[rule], fmt.Sprintf("%.3g without σ: ", f.SharpWide)+c.say(rule, f))
		}
	case !denied && f.Missing == "" && f.Sharp < -b.wide && !c.short(rule):
		c.lenient[rule] = append(c.lenient[rule], fmt.Sprintf("%.3g without σ: ", f.Sharp)+c.say(rule, f))
	}
}

// why is what the service says of a rule.
func (a answered) why(rule string) string { return "\n    " + a.findings[rule].Sentence }

// What .ci/run asks: about 470 s of one core, of which the service's own facts take more than half.
const (
	firstInCI = 4_000_000
	inCI      = 100_000
)

// answers is the first question and how many: KEEPCLEAR_ANSWERS=first:count; 0: a plain run's.
func answers() (first, count int) {
	if n, err := fmt.Sscanf(os.Getenv("KEEPCLEAR_ANSWERS"), "%d:%d", &first, &count); n == 2 && err == nil {
		return first, count
	}
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		return firstInCI, inCI
	}
	return 0, 0
}

// run asks questions, rig by rig, on both cores.
func run(t *testing.T, numbers func(yield func(rigNumber int, questions []int))) *result {
	t.Helper()
	defer debug.SetGCPercent(debug.SetGCPercent(800)) // little is held and much thrown away
	out, at, wait := newResult(), sync.Mutex{}, sync.WaitGroup{}
	turns := make(chan struct{}, 2)
	numbers(func(n int, questions []int) {
		wait.Add(1)
		turns <- struct{}{}
		go func() {
			defer func() { <-turns; wait.Done() }()
			s, err := stand(n)
			if !assert.NoError(t, err) {
				return
			}
			r := newResult()
			for _, k := range questions {
				r.look(s, k)
			}
			at.Lock()
			defer at.Unlock()
			for _, w := range append(r.wrong, r.passes...) {
				t.Log(w)
			}
			out.add(r)
		}()
	})
	wait.Wait()
	return out
}

func TestAnswersAgainstASecondOpinion(t *testing.T) {
	first, count := answers()
	r := run(t, func(yield func(int, []int)) {
		if count == 0 { // a plain run: a few of each of some rigs
			for n := range 12 {
				var some []int
				for k := range 5 {
					some = append(some, n*perRig+k)
				}
				yield(n, some)
			}
			return
		}
		for n := first / perRig; n*perRig < first+count; n++ {
			var some []int
			for k := max(first, n*perRig); k < min(first+count, (n+1)*perRig); k++ {
				some = append(some, k)
			}
			yield(n, some)
		}
	})
	r.log(t)
	if count == 1 {
		show(t, first)
	}
	require.NotZero(t, r.questions+r.edges)
	assert.LessOrEqual(t, r.edges, 1+count/500, "questions that are not compared")
	assert.Empty(t, head(r.wrong), "%d allows that must not be", len(r.wrong))
	assert.Empty(t, head(r.passes), "%d rules that passed and must not", len(r.passes))
	r.agrees(t)
}

// agrees holds that nothing is refused though this says that it passes, and nothing denied for a hold or held for a deny. Where a lawful
// service may be more careful, the second opinion says how much (Finding.Wide, Finding.Slack, end.maybe), rule by rule and with the reason; a
// difference that is left is a fault of one of the two.
func (r *result) agrees(t *testing.T) {
	assert.Zero(t, r.refused, "questions refused though nothing fails")
	for what, all := range map[string]map[string][]string{"needless": r.needless, "denied for a hold": r.denials, "held for a deny": r.lenient} {
		for _, rule := range sorted(all) {
			assert.Empty(t, head(all[rule]), "%s: %s", what, rule)
		}
	}
}

// show shows one question: its rig, what was asked, what the service computes of it.
func show(t *testing.T, n int) {
	s, err := stand(n / perRig)
	require.NoError(t, err)
	q := s.draw(n)
	t.Log(s.text.String())
	t.Logf("%+v\n%+v", s.question(q), s.snapshot(q))
	out := facts.Compute(s.input(q))
	for _, e := range out.Ends {
		t.Logf("%v from place %d, intended %v, off by %v: %s; closest %+v", e.Axes, e.From, e.Intended, e.Shift, e.Because, e.Closest)
	}
	for _, k := range out.Facts.Names() {
		if f := out.Facts[k]; f.Number != nil {
			t.Log(k, *f.Number, f.About)
		} else {
			t.Log(k, f.Missing)
		}
	}
}

func head(s []string) []string { return s[:min(len(s), 12)] }

// log says what was found.
func (r *result) log(t *testing.T) {
	t.Logf("%d questions: %v; %v", r.questions, r.verdicts, r.kinds)
	for _, rule := range sorted(r.rules) {
		v := r.rules[rule]
		t.Logf("%-15s passed %6d held %6d denied %6d sole reason %5d %v; needless %d, denied for a hold %d, held for a deny %d", rule, v.passed, v.held, v.denied,
			len(v.sole), v.sole[:min(2, len(v.sole))], len(r.needless[rule]), len(r.denials[rule]), len(r.lenient[rule]))
	}
	t.Logf("%d questions lie on an edge; %d refused though nothing fails; %d rules that answer otherwise with the service's own work budget", r.edges, r.refused, r.short)
	for what, all := range map[string]map[string][]string{"needless": r.needless, "denied": r.denials, "lenient": r.lenient} {
		for _, rule := range sorted(all) {
			slices.SortFunc(all[rule], func(a, b string) int { return compare(number(b), number(a)) })
			t.Logf("%s %s:\n%s", what, rule, strings.Join(all[rule][:min(4, len(all[rule]))], "\n"))
		}
	}
}

func number(s string) (v float64) {
	if _, err := fmt.Sscanf(s, "%g", &v); err != nil {
		return math.Inf(-1)
	}
	return math.Abs(v)
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func sorted[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
