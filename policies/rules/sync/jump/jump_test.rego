package rules.sync.jump_test

import data.rules.sync.jump

limits := {"axis_deg": 3, "axis_expected_deg": 5}

# A question that passes; each case changes it.
good := {"solve_expected": false, "sync_jump_axis1_deg": 0.5, "sync_jump_axis2_deg": 0.25}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "step_small"},
	"axis 1 on the edge": {"change": {"sync_jump_axis1_deg": 3}, "effect": "pass", "code": "step_small"},
	"axis 1 past the edge": {"change": {"sync_jump_axis1_deg": 3.0000001}, "effect": "hold", "code": "axis1_leaps"},
	"axis 2 on the edge": {"change": {"sync_jump_axis2_deg": 3}, "effect": "pass", "code": "step_small"},
	"axis 2 past the edge": {"change": {"sync_jump_axis2_deg": 3.0000001}, "effect": "hold", "code": "axis2_leaps"},
	"axis 1, expected, on the edge": {"change": {"sync_jump_axis1_deg": 5, "solve_expected": true}, "effect": "pass", "code": "axis1_expected"},
	"axis 1, expected, past the edge": {"change": {"sync_jump_axis1_deg": 5.0000001, "solve_expected": true}, "effect": "hold", "code": "axis1_leaps"},
	"axis 2, expected, on the edge": {"change": {"sync_jump_axis2_deg": 5, "solve_expected": true}, "effect": "pass", "code": "axis2_expected"},
	"axis 2, expected, past the edge": {"change": {"sync_jump_axis2_deg": 5.0000001, "solve_expected": true}, "effect": "hold", "code": "axis2_leaps"},
	"both, expected": {"change": {"sync_jump_axis1_deg": 4, "sync_jump_axis2_deg": 4, "solve_expected": true}, "effect": "pass", "code": "both_expected"},
	"both, expected, axis 2 past the edge": {"change": {"sync_jump_axis1_deg": 4, "sync_jump_axis2_deg": 6, "solve_expected": true}, "effect": "hold", "code": "axis1_leaps"},
	"small and expected": {"change": {"solve_expected": true}, "effect": "pass", "code": "step_small"},
	"both": {"change": {"sync_jump_axis1_deg": 90, "sync_jump_axis2_deg": 90}, "effect": "hold", "code": "axis1_leaps"},
}

# The rule said again, in words: what is small passes, what was foretold passes farther, and the first axis that does neither is named.
said(jump1, jump2, expected, l) := "step_small" if {
	max([jump1, jump2]) <= l.axis_deg
} else := foretold(jump1, jump2, l) if {
	expected
	max([jump1, jump2]) <= l.axis_expected_deg
} else := "axis2_leaps" if {
	jump1 <= l.axis_deg
} else := "axis1_leaps"

foretold(jump1, jump2, l) := "axis2_expected" if {
	jump1 <= l.axis_deg
} else := "axis1_expected" if {
	jump2 <= l.axis_deg
} else := "both_expected"

# Every cell that there is, and each edge, with either limit above the other.
test_said_again[note] if {
	some l in [{"axis_deg": 3, "axis_expected_deg": 5}, {"axis_deg": 5, "axis_expected_deg": 3}, {"axis_deg": 4, "axis_expected_deg": 4}]
	some axis1 in [1, 3, 4, 5, 6]
	some axis2 in [1, 3, 4, 5, 6]
	some expected in [true, false]
	note := sprintf("%v %v %v %v", [axis1, axis2, expected, l])
	jump.finding.code == said(axis1, axis2, expected, l) with input as {"solve_expected": expected, "sync_jump_axis1_deg": axis1, "sync_jump_axis2_deg": axis2} with data.limits.sync.jump as l
}

needed := ["solve_expected", "sync_jump_axis1_deg", "sync_jump_axis2_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	jump.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.jump as limits
}

test_gone[fact] if {
	some fact in needed
	jump.finding == held with input as object.remove(good, [fact]) with data.limits.sync.jump as limits
}

wrong := {"solve_expected": ["true", null, [true], {}, 1], "sync_jump_axis1_deg": ["12", null, [12], {}, true], "sync_jump_axis2_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	jump.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.jump as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["axis_deg", "axis_expected_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	jump.finding == held with input as good with data.limits.sync.jump as object.union(limits, {limit: value})
}
