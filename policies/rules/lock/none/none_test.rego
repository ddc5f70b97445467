package rules.lock.none_test

import data.rules.lock.none

# A question that passes; each case changes it.
good := {"lock_count": 0}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "no_lock"},
	"one": {"change": {"lock_count": 1}, "effect": "hold", "code": "locked"},
	"several": {"change": {"lock_count": 3}, "effect": "hold", "code": "locked"},
}

needed := ["lock_count"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	none.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change)
}

test_gone[fact] if {
	some fact in needed
	none.finding == held with input as object.remove(good, [fact])
}

wrong := {"lock_count": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	none.finding == held with input as object.union(good, {fact: value})
}
