package rules.sync.rate_test

import data.rules.sync.rate

limits := {"per_10min": 6}

# A question that passes; each case changes it.
good := {"sync_10min_count": 1}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "syncs_few"},
	"on the edge": {"change": {"sync_10min_count": 6}, "effect": "pass", "code": "syncs_few"},
	"past the edge": {"change": {"sync_10min_count": 7}, "effect": "hold", "code": "syncs_many"},
}

needed := ["sync_10min_count"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	rate.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.rate as limits
}

test_gone[fact] if {
	some fact in needed
	rate.finding == held with input as object.remove(good, [fact]) with data.limits.sync.rate as limits
}

wrong := {"sync_10min_count": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	rate.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.rate as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["per_10min"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	rate.finding == held with input as good with data.limits.sync.rate as object.union(limits, {limit: value})
}
