package rules.sync.given_test

import data.rules.sync.given

limits := {"off_arcmin": 15}

# A question that passes; each case changes it.
good := {"given_off_arcmin": 0}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "given_solved"},
	"on the edge": {"change": {"given_off_arcmin": 15}, "effect": "pass", "code": "given_solved"},
	"past the edge": {"change": {"given_off_arcmin": 15.0000001}, "effect": "deny", "code": "given_other"},
}

needed := ["given_off_arcmin"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	given.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.given as limits
}

test_gone[fact] if {
	some fact in needed
	given.finding == held with input as object.remove(good, [fact]) with data.limits.sync.given as limits
}

wrong := {"given_off_arcmin": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	given.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.given as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["off_arcmin"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	given.finding == held with input as good with data.limits.sync.given as object.union(limits, {limit: value})
}
