package rules.sun.apart_test

import data.rules.sun.apart

limits := {"separation_deg": 30}

# A question that passes; each case changes it.
good := {"sun_separation_deg": 120, "sun_separation_sharp_deg": 121}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "away_from_sun"},
	"on the edge": {"change": {"sun_separation_deg": 30}, "effect": "pass", "code": "away_from_sun"},
	"past the edge": {"change": {"sun_separation_deg": 29.9999999}, "effect": "hold", "code": "sun_uncertain"},
	"sharp on the edge": {"change": {"sun_separation_deg": 28, "sun_separation_sharp_deg": 30}, "effect": "hold", "code": "sun_uncertain"},
	"sharp past the edge": {"change": {"sun_separation_deg": 28, "sun_separation_sharp_deg": 29.9999999}, "effect": "deny", "code": "sun_near"},
	"into the Sun": {"change": {"sun_separation_deg": 0, "sun_separation_sharp_deg": 0}, "effect": "deny", "code": "sun_near"},
	"within with uncertainty, rougher without": {"change": {"sun_separation_sharp_deg": 29}, "effect": "pass", "code": "away_from_sun"},
}

needed := ["sun_separation_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	apart.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sun.apart as limits
}

test_gone[fact] if {
	some fact in needed
	apart.finding == held with input as object.remove(good, [fact]) with data.limits.sun.apart as limits
}

wrong := {"sun_separation_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	apart.finding == held with input as object.union(good, {fact: value}) with data.limits.sun.apart as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["sun_separation_sharp_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	apart.finding == held with input as object.union(good, {fact: value}) with data.limits.sun.apart as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["separation_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	apart.finding == held with input as good with data.limits.sun.apart as object.union(limits, {limit: value})
}
