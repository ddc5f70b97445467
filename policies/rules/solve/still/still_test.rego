package rules.solve.still_test

import data.rules.solve.still

limits := {"motion_arcsec": 30}

# A question that passes; each case changes it.
good := {"exposure_motion_arcsec": 2}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "exposure_still"},
	"on the edge": {"change": {"exposure_motion_arcsec": 30}, "effect": "pass", "code": "exposure_still"},
	"past the edge": {"change": {"exposure_motion_arcsec": 30.0000001}, "effect": "hold", "code": "exposure_moved"},
}

needed := ["exposure_motion_arcsec"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	still.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.solve.still as limits
}

test_gone[fact] if {
	some fact in needed
	still.finding == held with input as object.remove(good, [fact]) with data.limits.solve.still as limits
}

wrong := {"exposure_motion_arcsec": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	still.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.still as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["motion_arcsec"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	still.finding == held with input as good with data.limits.solve.still as object.union(limits, {limit: value})
}
