package rules.travel.axis2_test

import data.rules.travel.axis2

limits := {"low_deg": -95, "high_deg": 95}

# A question that passes; each case changes it.
good := {"axis2_travel_min_deg": -40, "axis2_travel_max_deg": 20, "axis2_sharp_min_deg": -38, "axis2_sharp_max_deg": 18}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "axis2_within"},
	"low on the edge": {"change": {"axis2_travel_min_deg": -95}, "effect": "pass", "code": "axis2_within"},
	"low past the edge": {"change": {"axis2_travel_min_deg": -95.0000001}, "effect": "hold", "code": "axis2_near_low"},
	"high on the edge": {"change": {"axis2_travel_max_deg": 95}, "effect": "pass", "code": "axis2_within"},
	"high past the edge": {"change": {"axis2_travel_max_deg": 95.0000001}, "effect": "hold", "code": "axis2_near_high"},
	"sharp low on the edge": {"change": {"axis2_travel_min_deg": -99, "axis2_sharp_min_deg": -95}, "effect": "hold", "code": "axis2_near_low"},
	"sharp low past the edge": {"change": {"axis2_travel_min_deg": -99, "axis2_sharp_min_deg": -95.0000001}, "effect": "deny", "code": "axis2_past_low"},
	"sharp high on the edge": {"change": {"axis2_travel_max_deg": 99, "axis2_sharp_max_deg": 95}, "effect": "hold", "code": "axis2_near_high"},
	"sharp high past the edge": {"change": {"axis2_travel_max_deg": 99, "axis2_sharp_max_deg": 95.0000001}, "effect": "deny", "code": "axis2_past_high"},
	"both ends, uncertain": {"change": {"axis2_travel_min_deg": -99, "axis2_travel_max_deg": 99}, "effect": "hold", "code": "axis2_near_low"},
	"both ends, certain high": {"change": {"axis2_travel_min_deg": -99, "axis2_travel_max_deg": 99, "axis2_sharp_max_deg": 98}, "effect": "deny", "code": "axis2_past_high"},
	"both ends, certain": {"change": {"axis2_travel_min_deg": -99, "axis2_travel_max_deg": 99, "axis2_sharp_min_deg": -98, "axis2_sharp_max_deg": 98}, "effect": "deny", "code": "axis2_past_low"},
	"a turn and a half": {"change": {"axis2_travel_max_deg": 540, "axis2_sharp_max_deg": 538}, "effect": "deny", "code": "axis2_past_high"},
}

needed := ["axis2_travel_min_deg", "axis2_travel_max_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	axis2.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.travel.axis2 as limits
}

test_gone[fact] if {
	some fact in needed
	axis2.finding == held with input as object.remove(good, [fact]) with data.limits.travel.axis2 as limits
}

wrong := {"axis2_travel_min_deg": ["12", null, [12], {}, true], "axis2_travel_max_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	axis2.finding == held with input as object.union(good, {fact: value}) with data.limits.travel.axis2 as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["axis2_sharp_min_deg", "axis2_sharp_max_deg"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	axis2.finding == held with input as object.union(good, {fact: value}) with data.limits.travel.axis2 as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["low_deg", "high_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	axis2.finding == held with input as good with data.limits.travel.axis2 as object.union(limits, {limit: value})
}

# What is within the limits with the uncertainty counted passes, however rough the figures without it; else each end is told by itself, low
# before high: a second writing of the rule, over every side of every limit.
test_every_side[note] if {
	some low in [-96, -94]
	some high in [94, 96]
	some sharp_low in [-96, -94]
	some sharp_high in [94, 96]
	note := sprintf("%v %v %v %v", [low, high, sharp_low, sharp_high])
	facts := {"axis2_travel_min_deg": low, "axis2_travel_max_deg": high, "axis2_sharp_min_deg": sharp_low, "axis2_sharp_max_deg": sharp_high}
	past_low := [code | low < -95; sharp_low < -95; code := {"effect": "deny", "code": "axis2_past_low"}]
	past_high := [code | sharp_high > 95; outside(low, high); code := {"effect": "deny", "code": "axis2_past_high"}]
	rough_low := [code | high > 95; sharp_low < -95; sharp_high <= 95; code := {"effect": "deny", "code": "axis2_past_low"}]
	near_low := [code | low < -95; code := {"effect": "hold", "code": "axis2_near_low"}]
	near_high := [code | high > 95; code := {"effect": "hold", "code": "axis2_near_high"}]
	within := [{"effect": "pass", "code": "axis2_within"}]
	want := array.concat(array.concat(array.concat(past_low, past_high), array.concat(rough_low, near_low)), array.concat(near_high, within))[0]
	axis2.finding == want with input as facts with data.limits.travel.axis2 as limits
}

outside(low, _) if low < -95

outside(_, high) if high > 95
