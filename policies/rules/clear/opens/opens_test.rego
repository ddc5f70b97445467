package rules.clear.opens_test

import data.rules.clear.opens

limits := {"closing_mm_per_deg": 0.02}

# A question that passes; each case changes it.
good := {"closing_mm_per_deg": 0, "closing_sharp_mm_per_deg": 0}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "opens"},
	"on the edge": {"change": {"closing_mm_per_deg": 0.02}, "effect": "pass", "code": "opens"},
	"past the edge": {"change": {"closing_mm_per_deg": 0.0200001}, "effect": "hold", "code": "may_close"},
	"sharp on the edge": {"change": {"closing_mm_per_deg": 4, "closing_sharp_mm_per_deg": 0.02}, "effect": "hold", "code": "may_close"},
	"sharp past the edge": {"change": {"closing_mm_per_deg": 4, "closing_sharp_mm_per_deg": 0.0200001}, "effect": "deny", "code": "closes"},
	"opens with uncertainty, rougher without": {"change": {"closing_sharp_mm_per_deg": 4}, "effect": "pass", "code": "opens"},
}

needed := ["closing_mm_per_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	opens.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.clear.opens as limits
}

test_gone[fact] if {
	some fact in needed
	opens.finding == held with input as object.remove(good, [fact]) with data.limits.clear.opens as limits
}

wrong := {"closing_mm_per_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	opens.finding == held with input as object.union(good, {fact: value}) with data.limits.clear.opens as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["closing_sharp_mm_per_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	opens.finding == held with input as object.union(good, {fact: value}) with data.limits.clear.opens as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["closing_mm_per_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	opens.finding == held with input as good with data.limits.clear.opens as object.union(limits, {limit: value})
}
