package rules.asker.fallback_test

import data.rules.asker.fallback

limits := {"unstopped_spare_s": 600}

# A question that passes; each case changes it.
good := {"unstopped_spare_s": 86400, "stop_acts": true}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "stop_in_time"},
	"on the edge": {"change": {"unstopped_spare_s": 600}, "effect": "pass", "code": "stop_in_time"},
	"past the edge": {"change": {"unstopped_spare_s": 599.9999999}, "effect": "hold", "code": "stop_too_late"},
	"nothing stops it, and nothing is touched": {"change": {"stop_acts": false}, "effect": "pass", "code": "stop_in_time"},
	"nothing stops it": {"change": {"stop_acts": false, "unstopped_spare_s": -86400}, "effect": "hold", "code": "nothing_stops"},
	"after the contact": {"change": {"unstopped_spare_s": -3600}, "effect": "hold", "code": "stop_too_late"},
}

needed := ["unstopped_spare_s", "stop_acts"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	fallback.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.asker.fallback as limits
}

test_gone[fact] if {
	some fact in needed
	fallback.finding == held with input as object.remove(good, [fact]) with data.limits.asker.fallback as limits
}

wrong := {"unstopped_spare_s": ["12", null, [12], {}, true], "stop_acts": ["true", null, [true], {}, 1]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	fallback.finding == held with input as object.union(good, {fact: value}) with data.limits.asker.fallback as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["unstopped_spare_s"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	fallback.finding == held with input as good with data.limits.asker.fallback as object.union(limits, {limit: value})
}
