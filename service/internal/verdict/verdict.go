// Package verdict holds what the rules said of one question and the one word that follows from it.
//
// A Finding is what one rule says: its effect, the fact that decided, the limit that it was held against, one sentence
// and one remedy for a person. Combine turns the findings of a question into allow, hold or deny: the gravest of them.
// Only a full set of passes allows. A rule that did not answer, answered twice, answered with an effect that nobody
// knows, or was never loaded is a hold, and so is an empty set.
//
// Values are in the unit that the fact's name ends with (degrees, millimetres, seconds), as they were judged. Everything
// here goes into the record, so that field names and words stay as they are.
//
// It does not evaluate rules (room rules), and a word of it lets nothing move: only a permit or a sync leave does.
package verdict

// Verdict is the answer in one word. Any other word, and the empty one, means hold.
type Verdict string

// Verdicts.
const (
	Allow Verdict = "allow" // every applicable rule passed
	Hold  Verdict = "hold"  // not now, or not known
	Deny  Verdict = "deny"  // wrong; the same again gives the same
)

// Combine says what follows from the findings. loaded are the ids of all rules in force, required those that have to
// have judged this question: of them a pass is wanted, where of the others "not applicable" will do.
//
// The gravest finding wins: one deny denies, whatever else is amiss. Without a deny, anything short of exactly one pass or
// "not applicable" for every loaded id holds, and so does a finding of an id that is not loaded.
func Combine(findings []Finding, loaded, required []string) Verdict {
	said := make(map[string]Effect, len(findings))
	answer := Allow
	for _, f := range findings {
		if f.Effect == Denies {
			return Deny
		}
		if _, twice := said[f.Rule]; twice || !f.Effect.harmless() {
			answer = Hold
		}
		said[f.Rule] = f.Effect
	}
	if answer == Allow && full(said, loaded, required) {
		return Allow
	}
	return Hold
}

// full tells whether the harmless effects that were said cover exactly the loaded ids, and each required one by a pass.
func full(said map[string]Effect, loaded, required []string) bool {
	seen := make(map[string]bool, len(loaded))
	for _, id := range loaded {
		if _, answered := said[id]; !answered {
			return false
		}
		seen[id] = true
	}
	for _, id := range required {
		if !seen[id] || said[id] != Passes {
			return false
		}
	}
	return len(seen) > 0 && len(said) == len(seen) && len(required) > 0
}
