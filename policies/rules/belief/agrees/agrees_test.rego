package rules.belief.agrees_test

import data.rules.belief.agrees

limits := {"sky_deg": 3}

# A question that passes; each case changes it.
good := {"belief_error_sky_deg": 0.3}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "belief_right"},
	"on the edge": {"change": {"belief_error_sky_deg": 3}, "effect": "pass", "code": "belief_right"},
	"past the edge": {"change": {"belief_error_sky_deg": 3.0000001}, "effect": "hold", "code": "belief_off"},
}

needed := ["belief_error_sky_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	agrees.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.belief.agrees as limits
}

test_gone[fact] if {
	some fact in needed
	agrees.finding == held with input as object.remove(good, [fact]) with data.limits.belief.agrees as limits
}

wrong := {"belief_error_sky_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	agrees.finding == held with input as object.union(good, {fact: value}) with data.limits.belief.agrees as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["sky_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	agrees.finding == held with input as good with data.limits.belief.agrees as object.union(limits, {limit: value})
}
