package rules

import "slices"

// applies says why a rule does not judge such a question; empty: it does. The words are codes of findings.
func (r *rule) applies(sub Subject) string {
	known := slices.Contains(actions(), sub.Action)
	if known && !slices.Contains(r.custom.Actions, sub.Action) {
		return "not_of_this_action" // an action that nobody knows is judged by every rule
	}
	for _, trait := range r.custom.When[sub.Action] {
		if !slices.Contains(sub.Traits, trait) {
			return "not_" + trait
		}
	}
	for _, thing := range r.custom.Needs {
		if slices.Contains(sub.Lacks, thing) {
			return "needs_no_" + thing
		}
	}
	return ""
}
