package rules.time.agree_test

import data.rules.time.agree

limits := {"skew_s": 5, "error_s": 20}

# A question that passes; each case changes it.
good := {"clock_skew_s": 0.1, "clock_error_s": 0.05}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "clocks_agree"},
	"skew on the edge": {"change": {"clock_skew_s": 5}, "effect": "pass", "code": "clocks_agree"},
	"skew past the edge": {"change": {"clock_skew_s": 5.0000001}, "effect": "hold", "code": "clocks_differ"},
	"error on the edge": {"change": {"clock_error_s": 20}, "effect": "pass", "code": "clocks_agree"},
	"error past the edge": {"change": {"clock_error_s": 20.0000001}, "effect": "hold", "code": "time_doubtful"},
	"an hour and unknown": {"change": {"clock_skew_s": 3600, "clock_error_s": 99}, "effect": "hold", "code": "clocks_differ"},
}

needed := ["clock_skew_s", "clock_error_s"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	agree.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.time.agree as limits
}

test_gone[fact] if {
	some fact in needed
	agree.finding == held with input as object.remove(good, [fact]) with data.limits.time.agree as limits
}

wrong := {"clock_skew_s": ["12", null, [12], {}, true], "clock_error_s": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	agree.finding == held with input as object.union(good, {fact: value}) with data.limits.time.agree as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["skew_s", "error_s"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	agree.finding == held with input as good with data.limits.time.agree as object.union(limits, {limit: value})
}
