package rules.solve.fresh_test

import data.rules.solve.fresh

limits := {"age_s": 120}

# A question that passes; each case changes it.
good := {"solve_age_s": 20, "picture_repeated": false, "picture_left": false}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "picture_fresh"},
	"on the edge": {"change": {"solve_age_s": 120}, "effect": "pass", "code": "picture_fresh"},
	"repeated": {"change": {"picture_repeated": true}, "effect": "hold", "code": "repeated"},
	"repeated and old": {"change": {"picture_repeated": true, "solve_age_s": 130}, "effect": "hold", "code": "picture_old"},
	"left": {"change": {"picture_left": true}, "effect": "hold", "code": "left"},
	"left and repeated": {"change": {"picture_left": true, "picture_repeated": true}, "effect": "hold", "code": "repeated"},
	"left and old": {"change": {"picture_left": true, "solve_age_s": 130}, "effect": "hold", "code": "picture_old"},
	"left, repeated and old": {"change": {"picture_left": true, "picture_repeated": true, "solve_age_s": 130}, "effect": "hold", "code": "picture_old"},
	"past the edge": {"change": {"solve_age_s": 120.0000001}, "effect": "hold", "code": "picture_old"},
}

needed := ["solve_age_s", "picture_repeated", "picture_left"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	fresh.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.solve.fresh as limits
}

test_gone[fact] if {
	some fact in needed
	fresh.finding == held with input as object.remove(good, [fact]) with data.limits.solve.fresh as limits
}

wrong := {"picture_left": ["true", null, [true], {}, 1], "picture_repeated": ["true", null, [true], {}, 1], "solve_age_s": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	fresh.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.fresh as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["age_s"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	fresh.finding == held with input as good with data.limits.solve.fresh as object.union(limits, {limit: value})
}
