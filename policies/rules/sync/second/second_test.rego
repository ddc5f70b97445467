package rules.sync.second_test

import data.rules.sync.second

# A question that passes; each case changes it.
good := {"pictures_lacking_count": 0}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "pictures_agree"},
	"one lacks": {"change": {"pictures_lacking_count": 1}, "effect": "hold", "code": "picture_lacking"},
	"less than one": {"change": {"pictures_lacking_count": 1e-07}, "effect": "hold", "code": "picture_lacking"},
}

needed := ["pictures_lacking_count"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	second.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change)
}

test_gone[fact] if {
	some fact in needed
	second.finding == held with input as object.remove(good, [fact])
}

wrong := {"pictures_lacking_count": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	second.finding == held with input as object.union(good, {fact: value})
}
