package rules.solve.blind_test

import data.rules.solve.blind

limits := {"hint_deg": 10}

# A question that passes; each case changes it.
good := {"hint_matters": true, "hint_radius_deg": 180}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "hint_wide"},
	"on the edge": {"change": {"hint_radius_deg": 10}, "effect": "pass", "code": "hint_wide"},
	"past the edge": {"change": {"hint_radius_deg": 9.9999999}, "effect": "hold", "code": "hint_narrow"},
	"narrow, harmless": {"change": {"hint_matters": false, "hint_radius_deg": 0.5}, "effect": "pass", "code": "hint_harmless"},
	"wide, harmless": {"change": {"hint_matters": false}, "effect": "pass", "code": "hint_harmless"},
}

needed := ["hint_matters"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	blind.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.solve.blind as limits
}

test_gone[fact] if {
	some fact in needed
	blind.finding == held with input as object.remove(good, [fact]) with data.limits.solve.blind as limits
}

wrong := {"hint_matters": ["true", null, [true], {}, 1]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	blind.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.blind as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["hint_radius_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	blind.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.blind as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["hint_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	blind.finding == held with input as good with data.limits.solve.blind as object.union(limits, {limit: value})
}

# Nobody said how far was searched: that is no search at all.
test_radius_not_told if {
	told := object.remove(good, ["hint_radius_deg"])
	blind.finding == {"effect": "hold", "code": "hint_narrow"} with input as told with data.limits.solve.blind as limits
}
