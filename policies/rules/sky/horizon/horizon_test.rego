package rules.sky.horizon_test

import data.rules.sky.horizon

limits := {"above_deg": 0}

# A question that passes; each case changes it.
good := {"above_horizon_deg": 30, "above_horizon_sharp_deg": 31}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "above_horizon"},
	"on the edge": {"change": {"above_horizon_deg": 0}, "effect": "pass", "code": "above_horizon"},
	"past the edge": {"change": {"above_horizon_deg": -1e-07}, "effect": "hold", "code": "near_horizon"},
	"sharp on the edge": {"change": {"above_horizon_deg": -1, "above_horizon_sharp_deg": 0}, "effect": "hold", "code": "near_horizon"},
	"sharp past the edge": {"change": {"above_horizon_deg": -1, "above_horizon_sharp_deg": -1e-07}, "effect": "deny", "code": "behind_horizon"},
	"within with uncertainty, rougher without": {"change": {"above_horizon_sharp_deg": -1}, "effect": "pass", "code": "above_horizon"},
}

needed := ["above_horizon_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	horizon.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sky.horizon as limits
}

test_gone[fact] if {
	some fact in needed
	horizon.finding == held with input as object.remove(good, [fact]) with data.limits.sky.horizon as limits
}

wrong := {"above_horizon_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	horizon.finding == held with input as object.union(good, {fact: value}) with data.limits.sky.horizon as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["above_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	horizon.finding == held with input as good with data.limits.sky.horizon as object.union(limits, {limit: value})
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["above_horizon_sharp_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	horizon.finding == held with input as object.union(good, {fact: value}) with data.limits.sky.horizon as limits
}
