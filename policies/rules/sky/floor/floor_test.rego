package rules.sky.floor_test

import data.rules.sky.floor

limits := {"altitude_deg": -3}

# A question that passes; each case changes it.
good := {"altitude_min_deg": 22, "altitude_sharp_min_deg": 23}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "above_floor"},
	"on the edge": {"change": {"altitude_min_deg": -3}, "effect": "pass", "code": "above_floor"},
	"past the edge": {"change": {"altitude_min_deg": -3.0000001}, "effect": "hold", "code": "near_floor"},
	"sharp on the edge": {"change": {"altitude_min_deg": -4, "altitude_sharp_min_deg": -3}, "effect": "hold", "code": "near_floor"},
	"sharp past the edge": {"change": {"altitude_min_deg": -4, "altitude_sharp_min_deg": -3.0000001}, "effect": "deny", "code": "below_floor"},
	"within with uncertainty, rougher without": {"change": {"altitude_sharp_min_deg": -4}, "effect": "pass", "code": "above_floor"},
}

needed := ["altitude_min_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	floor.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sky.floor as limits
}

test_gone[fact] if {
	some fact in needed
	floor.finding == held with input as object.remove(good, [fact]) with data.limits.sky.floor as limits
}

wrong := {"altitude_min_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	floor.finding == held with input as object.union(good, {fact: value}) with data.limits.sky.floor as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["altitude_sharp_min_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	floor.finding == held with input as object.union(good, {fact: value}) with data.limits.sky.floor as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["altitude_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	floor.finding == held with input as good with data.limits.sky.floor as object.union(limits, {limit: value})
}
