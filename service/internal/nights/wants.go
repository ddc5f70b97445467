package nights

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// wants is what a line wants of an answer.
type wants struct {
	verdict  verdict.Verdict
	rules    []objection // that must object, with that effect
	only     bool        // and no other may
	words    []string    // that the answer must say
	needs    []string    // kinds of need that it must name
	instead  string      // kind of the first question named instead
	harmless time.Duration
	stop     bool // it must say "stop tracking"
}

type objection struct {
	rule   string
	effect verdict.Effect
}

// anything is wanted of answers in nights that are drawn by lot.
const anything = "anything"

// effects of the words behind "->", which also say how the rules that follow them must object.
var effects = map[string]verdict.Effect{"deny": verdict.Denies, "denied": verdict.Denies, "hold": verdict.Holds, "held": verdict.Holds, "allow": verdict.Passes}

// readWants reads what stands behind "->": the verdict, then rules, words in quotes, "needs KIND", "instead KIND", "harmless 5m" and
// "stop tracking".
func readWants(words []word) (wants, error) {
	if len(words) == 0 {
		return wants{}, fmt.Errorf("what answer is wanted? -> allow, hold by RULE or deny by RULE")
	}
	if words[0].text == anything {
		return wants{}, nil
	}
	w := wants{verdict: verdict.Verdict(words[0].text)}
	effect, ok := effects[words[0].text]
	if !ok {
		return wants{}, fmt.Errorf("%q is no answer: allow, hold or deny", words[0].text)
	}
	a := &arguments{}
	for i := 1; i < len(words); i++ {
		if words[i].quoted {
			w.words = append(w.words, words[i].text)
			continue
		}
		a.words = nil
		for _, x := range words[i:] {
			a.words = append(a.words, x.text)
		}
		before := len(a.words)
		effect = w.readWord(a, effect)
		i += before - len(a.words) - 1
	}
	return w, a.err
}

// readWord reads one unquoted want with what belongs to it, and returns the effect that rules after it must have.
func (w *wants) readWord(a *arguments, effect verdict.Effect) verdict.Effect {
	switch x := a.next(); {
	case x == "by", x == "and":
	case x == "only":
		w.only = true
	case effects[x] != "":
		return effects[x]
	case x == "needs":
		w.needs = append(w.needs, a.next())
	case x == "instead":
		w.instead = a.next()
	case x == "harmless":
		w.harmless = a.duration()
	case x == "stop" && a.take("tracking"):
		w.stop = true
	case strings.Contains(x, "/"):
		w.rules = append(w.rules, objection{x, effect})
	default:
		a.fail("nothing is wanted by %q: words of the answer stand in quotes", x)
	}
	return effect
}

// hold holds an answer against what is wanted. Every failure carries what came, with its reasons.
func (w wants) hold(got decide.Answer) error {
	came := describe(got)
	if w.verdict == "" {
		return nil
	}
	if got.Verdict != w.verdict {
		return fmt.Errorf("want %s, got %s", w.verdict, came)
	}
	objecting := objections(got)
	for _, r := range w.rules {
		if !slices.Contains(objecting, r) {
			return fmt.Errorf("want %s by %s, got %s", r.effect, r.rule, came)
		}
	}
	if w.only && len(objecting) != len(w.rules) {
		return fmt.Errorf("want no other objection, got %s", came)
	}
	for _, s := range w.words {
		if !says(got, s) {
			return fmt.Errorf("want the words %q, got %s", s, came)
		}
	}
	return w.holdHelp(got, came)
}

// holdHelp holds what an answer says beside its findings.
func (w wants) holdHelp(got decide.Answer, came string) error {
	for _, k := range w.needs {
		if !slices.ContainsFunc(got.Needs, func(n verdict.Need) bool { return string(n.Kind) == k }) {
			return fmt.Errorf("want the need %s, got %v of %s", k, got.Needs, came)
		}
	}
	if w.instead != "" && (len(got.Instead) == 0 || string(got.Instead[0].Kind) != w.instead) {
		return fmt.Errorf("want a %s to be named instead, got %v of %s", w.instead, got.Instead, came)
	}
	if w.harmless > 0 && (got.HarmlessUntil == nil || got.HarmlessUntil.Sub(got.At) > w.harmless) {
		return fmt.Errorf("want it to carry on harmlessly for at most %s, got until %v at %s", w.harmless, got.HarmlessUntil, got.At)
	}
	if w.stop && !got.StopTracking {
		return fmt.Errorf("want \"stop tracking\", got %s", came)
	}
	return nil
}

// describe gives an answer for failures: the verdict and every objection with its sentence.
func describe(a decide.Answer) string {
	s := string(a.Verdict)
	for _, f := range a.Findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			s += fmt.Sprintf("\n    %s by %s: %s", f.Effect, f.Rule, f.Sentence)
		}
	}
	return s
}

func objections(a decide.Answer) (out []objection) {
	for _, f := range a.Findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			out = append(out, objection{f.Rule, f.Effect})
		}
	}
	return out
}

// says tells whether an answer says words: in its sentence, a finding's, what that is about, or a remedy.
func says(a decide.Answer, words string) bool {
	if strings.Contains(a.Sentence, words) {
		return true
	}
	return slices.ContainsFunc(a.Findings, func(f verdict.Finding) bool {
		return strings.Contains(f.Sentence+"\n"+f.Remedy+"\n"+strings.Join(f.About, "\n"), words)
	})
}

// onRecord holds the entry of an answer against the answer: its kind, verdict, rules, sentence and leave. Every question of every night
// is held to it.
func (n *night) onRecord(requestID string, a decide.Answer) error {
	w, err := n.rec.ByRequestID(context.Background(), requestID)
	if err != nil {
		return fmt.Errorf("the answer has no entry: %w", err)
	}
	e := w.Entry
	var rules []string
	for _, o := range objections(a) {
		rules = append(rules, o.rule)
	}
	slices.Sort(rules)
	stood := slices.Sorted(slices.Values(e.RuleIDs))
	var leaves []string
	if a.Permit != nil {
		leaves = append(leaves, a.Permit.ID)
	}
	if a.Leave != nil {
		leaves = append(leaves, a.Leave.ID)
	}
	switch {
	case e.Kind != state.Asked || e.Verdict != string(a.Verdict) || !slices.Equal(stood, rules):
		return fmt.Errorf("the entry says %s, %s by %v; the answer %s by %v", e.Kind, e.Verdict, stood, a.Verdict, rules)
	case e.Sentence == "" || (a.Verdict == verdict.Allow) != (len(leaves) == 1):
		return fmt.Errorf("the entry says %q, with leave %v for %s", e.Sentence, leaves, a.Verdict)
	}
	for _, id := range leaves {
		if !slices.Contains(e.LeaveIDs, id) {
			return fmt.Errorf("the entry names leave %v, the answer %s", e.LeaveIDs, id)
		}
	}
	return nil
}
