package rules.clear.path_test

import data.rules.clear.path

# A question that passes; each case changes it.
good := {"clearance_spare_mm": 85.5, "clearance_sharp_spare_mm": 90}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "way_clear"},
	"on the edge": {"change": {"clearance_spare_mm": 0}, "effect": "pass", "code": "way_clear"},
	"past the edge": {"change": {"clearance_spare_mm": -1e-07}, "effect": "hold", "code": "way_tight"},
	"sharp on the edge": {"change": {"clearance_spare_mm": -5, "clearance_sharp_spare_mm": 0}, "effect": "hold", "code": "way_tight"},
	"sharp past the edge": {"change": {"clearance_spare_mm": -5, "clearance_sharp_spare_mm": -1e-07}, "effect": "deny", "code": "way_blocked"},
	"in contact": {"change": {"clearance_spare_mm": -80, "clearance_sharp_spare_mm": -60}, "effect": "deny", "code": "way_blocked"},
	"proven with uncertainty, rougher without": {"change": {"clearance_sharp_spare_mm": -1}, "effect": "pass", "code": "way_clear"},
}

needed := ["clearance_spare_mm"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	path.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change)
}

test_gone[fact] if {
	some fact in needed
	path.finding == held with input as object.remove(good, [fact])
}

wrong := {"clearance_spare_mm": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	path.finding == held with input as object.union(good, {fact: value})
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["clearance_sharp_spare_mm"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	path.finding == held with input as object.union(good, {fact: value})
}
