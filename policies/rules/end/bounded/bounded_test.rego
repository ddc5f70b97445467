package rules.end.bounded_test

import data.rules.end.bounded

limits := {"spread_deg": 5}

# A question that passes; each case changes it.
good := {"end_spread_deg": 0.5}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "ends_close"},
	"on the edge": {"change": {"end_spread_deg": 5}, "effect": "pass", "code": "ends_close"},
	"past the edge": {"change": {"end_spread_deg": 5.0000001}, "effect": "hold", "code": "ends_spread"},
}

needed := ["end_spread_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	bounded.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.end.bounded as limits
}

test_gone[fact] if {
	some fact in needed
	bounded.finding == held with input as object.remove(good, [fact]) with data.limits.end.bounded as limits
}

wrong := {"end_spread_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	bounded.finding == held with input as object.union(good, {fact: value}) with data.limits.end.bounded as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["spread_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	bounded.finding == held with input as good with data.limits.end.bounded as object.union(limits, {limit: value})
}
