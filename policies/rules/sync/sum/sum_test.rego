package rules.sync.sum_test

import data.rules.sync.sum

limits := {"axis_deg": 5}

# A question that passes; each case changes it.
good := {"sync_sum_axis1_deg": 0.5, "sync_sum_axis2_deg": 0.25}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "walk_small"},
	"axis 1 on the edge": {"change": {"sync_sum_axis1_deg": 5}, "effect": "pass", "code": "walk_small"},
	"axis 1 past the edge": {"change": {"sync_sum_axis1_deg": 5.0000001}, "effect": "hold", "code": "axis1_walked"},
	"axis 2 on the edge": {"change": {"sync_sum_axis2_deg": 5}, "effect": "pass", "code": "walk_small"},
	"axis 2 past the edge": {"change": {"sync_sum_axis2_deg": 5.0000001}, "effect": "hold", "code": "axis2_walked"},
	"both": {"change": {"sync_sum_axis1_deg": 90, "sync_sum_axis2_deg": 90}, "effect": "hold", "code": "axis1_walked"},
}

needed := ["sync_sum_axis1_deg", "sync_sum_axis2_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	sum.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.sum as limits
}

test_gone[fact] if {
	some fact in needed
	sum.finding == held with input as object.remove(good, [fact]) with data.limits.sync.sum as limits
}

wrong := {"sync_sum_axis1_deg": ["12", null, [12], {}, true], "sync_sum_axis2_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	sum.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.sum as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["axis_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	sum.finding == held with input as good with data.limits.sync.sum as object.union(limits, {limit: value})
}
