package rules

import (
	"errors"
	"fmt"
	"slices"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// finding turns the answer of a rule into a finding: METADATA names the fact, the limit, the sentence and the remedy.
func (s *Set) finding(r *rule, a answer, action string, in input, f facts.Set) verdict.Finding {
	if a.err != nil {
		return failed(r.ID, a.err)
	}
	if a.leaf == (leaf{"hold", missingCode}) {
		return s.lib.unknown(r, in, f)
	}
	m, ok := r.codes[a.code]
	if !ok || m.effect != a.effect {
		return failed(r.ID, fmt.Errorf("%w: %s %s", errShape, a.effect, a.code))
	}
	if a.effect != "pass" && in.reading(m.Fact).Missing != "" { // an optional fact that would have been needed here
		return s.lib.lacking(r, in.reading(m.Fact), f[m.Fact])
	}
	return s.decided(r, a, m, action, in, f)
}

// decided is the finding of a rule that judged.
func (s *Set) decided(r *rule, a answer, m code, action string, in input, f facts.Set) verdict.Finding {
	reading, fact := in.reading(m.Fact), f[m.Fact]
	out := verdict.Finding{
		Rule: r.ID, Effect: verdict.Effect(a.effect), Code: a.code,
		Fact: reading, About: fact.About, Instant: fact.Instant,
	}
	if reading.Number != nil {
		out.Unit = unitOf(m.Fact)
	}
	out.Limit = s.limit(r, m)
	if out.Effect == verdict.Passes {
		return out
	}
	out.Sentence = sentence(m.Sentence, out, in)
	kinds := m.Need
	out.Remedy = m.remedy(action)
	if m.Homed != nil && m.Homed.holds(out, in, f) {
		out.Remedy, kinds = remedyFor(action, m.Homed.Remedies, m.Homed.Remedy), m.Homed.Need
	}
	out.Needs = needs(kinds, out.Remedy, fact.About)
	return out
}

// holds tells whether a finding would be the same after a homing, by the part of the pose's uncertainty that one leaves: what the uncertainty makes
// of the fact grows with it. What else widens the fact counts as if homing took it away, too, so homing may be advised in vain, not kept back.
func (h *homed) holds(v verdict.Finding, in input, f facts.Set) bool {
	leaves, sharp := f["homing_leaves_ratio"].Number, new(float64)
	if h.Sharp != "" {
		sharp = in.reading(h.Sharp).Number
	}
	if leaves == nil || sharp == nil || v.Fact.Number == nil || v.Limit == nil {
		return false
	}
	after := *sharp + *leaves*(*v.Fact.Number-*sharp)
	return (after-*v.Limit)*(*v.Fact.Number-*v.Limit) > 0
}

// limit returns what a code's fact was held against, nil for none.
func (s *Set) limit(r *rule, m code) *float64 {
	switch l := m.Limit.(type) {
	case float64:
		return &l
	case string:
		if v, ok := s.bound.limits.Value(r.ID, l); ok {
			return &v
		}
	}
	return nil
}

// unknown is the finding of a rule that lacked a fact: it names the first fact that is missing or of the wrong type.
func (l *library) unknown(r *rule, in input, f facts.Set) verdict.Finding {
	var gone *verdict.Reading
	for _, name := range r.source.order {
		reading := in.reading(name)
		k := kindOf(reading)
		if k != "" && k != r.source.checked[name] {
			return l.mistyped(r, reading, f[name])
		}
		if k == "" && gone == nil {
			gone = reading
		}
	}
	if gone != nil {
		return l.lacking(r, gone, f[gone.Name])
	}
	first := in.reading(r.source.order[0])
	return l.hold(r, first, f[first.Name], "facts_contradict",
		fmt.Sprintf("What is known of the %s contradicts itself.", l.titles[first.Name]),
		verdict.NeedRepair)
}

// lacking is the hold for a fact that is not known.
func (l *library) lacking(r *rule, reading *verdict.Reading, fact facts.Fact) verdict.Finding {
	need := verdict.NeedKind(fact.Need)
	if !need.Known() {
		need = r.custom.IfMissing
	}
	return l.hold(r, reading, fact, missingCode, fmt.Sprintf("The %s is not known: %s.", l.titles[reading.Name], reading.Missing), need)
}

// mistyped is the hold for a fact of the wrong type, which only a mistake of ours produces.
func (l *library) mistyped(r *rule, reading *verdict.Reading, fact facts.Fact) verdict.Finding {
	want := map[kind]string{numberKind: "a number", wordKind: "a word", truthKind: "yes or no"}
	return l.hold(r, reading, fact, "fact_wrong_type",
		fmt.Sprintf("The %s came as %s where %s is wanted.", l.titles[reading.Name], want[kindOf(reading)], want[r.source.checked[reading.Name]]),
		verdict.NeedRepair)
}

// hold is a hold about one fact whose remedy is the usual one of its need, unless the fact brings its own.
func (l *library) hold(r *rule, reading *verdict.Reading, fact facts.Fact, code, text string, need verdict.NeedKind) verdict.Finding {
	remedy := fact.Remedy
	if remedy == "" {
		remedy = remedyOf(need)
	}
	return verdict.Finding{
		Rule: r.ID, Effect: verdict.Holds, Code: code, Fact: reading, About: fact.About, Instant: fact.Instant,
		Sentence: text, Remedy: remedy, Needs: needs([]verdict.NeedKind{need}, remedy, fact.About),
	}
}

// failed is the hold for a rule that did not answer.
func failed(id string, err error) verdict.Finding {
	code, need := "rule_failed", verdict.NeedRepair
	switch {
	case errors.Is(err, errLate):
		code, need = "rule_late", verdict.NeedTime
	case errors.Is(err, errContradiction):
		code = "rule_contradicts_itself"
	case errors.Is(err, errShape):
		code = "rule_malformed"
	}
	remedy := remedyOf(need)
	return verdict.Finding{
		Rule: id, Effect: verdict.Holds, Code: code, Sentence: fmt.Sprintf("The rule %s gave no answer that counts: %v.", id, err), Remedy: remedy,
		Needs: []verdict.Need{{Kind: need, Sentence: remedy, About: id}},
	}
}

// notLoaded is the hold for a rule that the question requires and nobody loaded.
func notLoaded(id string) verdict.Finding {
	text := fmt.Sprintf("The rule %s, which this question requires, is not loaded.", id)
	for _, e := range equipment {
		if e.rule == id {
			text = fmt.Sprintf("The rig does not declare that it lacks %s, and no loaded rule judges that (%s).", e.thing, id)
		}
	}
	remedy := remedyOf(verdict.NeedRepair)
	return verdict.Finding{
		Rule: id, Effect: verdict.Holds, Code: "rule_not_loaded", Sentence: text, Remedy: remedy,
		Needs: []verdict.Need{{Kind: verdict.NeedRepair, Sentence: remedy, About: id}},
	}
}

// needs makes one need of each kind; locks and open permits are needed one by one, so each has a need of its own.
func needs(kinds []verdict.NeedKind, remedy string, about []string) []verdict.Need {
	var out []verdict.Need
	for _, k := range kinds {
		if len(about) == 0 || !slices.Contains([]verdict.NeedKind{verdict.NeedRelease, verdict.NeedPermitEnd}, k) {
			out = append(out, verdict.Need{Kind: k, Sentence: remedy})
			continue
		}
		for _, id := range about {
			out = append(out, verdict.Need{Kind: k, Sentence: remedy, About: id})
		}
	}
	return out
}

// remedyOf is what a person does about a need where no rule says it better.
func remedyOf(k verdict.NeedKind) string {
	switch k {
	case verdict.NeedSample:
		return "Send a sample of the mount that tells what is missing, with the question or in a report, and ask again."
	case verdict.NeedHoming:
		return "Home the rig or, while homing is held, have a person state first where its axes stand."
	case verdict.NeedSecondSolve:
		return "Take a picture, solve it, and ask again with all figures that the solver gives."
	case verdict.NeedPermitEnd:
		return "Wait for the open permit to end, or name it as replaced."
	case verdict.NeedClock:
		return "Let the clocks synchronise, or start the service with a person's word for its own: serve --clock-within SECONDS."
	case verdict.NeedSite:
		return "Set the mount's site right."
	case verdict.NeedRelease:
		return "A named person releases the lock, with a reason."
	case verdict.NeedRigProof:
		return "Measure gaps on the rig, turn both axes, and report how well the file fits, or name a person who is present."
	case verdict.NeedAttendance:
		return "A person looks at the rig and states where its axes stand; then ask again."
	case verdict.NeedSurroundings:
		return "Wait for the other rig or the roof, and ask again."
	case verdict.NeedTime:
		return "Wait a little, and ask again."
	case verdict.NeedPolar:
		return "A person aligns the polar axis, and reports it; then solve again."
	case verdict.NeedRepair:
	}
	return "A person looks into the service's log and repairs rules, limits, rig file or record."
}
