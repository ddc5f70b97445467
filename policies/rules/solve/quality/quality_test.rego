package rules.solve.quality_test

import data.rules.solve.quality

limits := {"matched": 12, "matched_expected": 4, "residual_ratio": 1, "altitude_deg": 15}

# A question that passes; each case changes it.
good := {"solve_expected": false, "matched_count": 80, "residual_ratio": 0.3, "solve_altitude_deg": 50}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "solve_good"},
	"stars on the edge": {"change": {"matched_count": 12}, "effect": "pass", "code": "solve_good"},
	"stars past the edge": {"change": {"matched_count": 11}, "effect": "hold", "code": "few_stars"},
	"few, but expected": {"change": {"matched_count": 11, "solve_expected": true}, "effect": "pass", "code": "few_but_expected"},
	"few, expected, on the edge": {"change": {"matched_count": 4, "solve_expected": true}, "effect": "pass", "code": "few_but_expected"},
	"few, expected, past the edge": {"change": {"matched_count": 3, "solve_expected": true}, "effect": "hold", "code": "few_stars"},
	"few, not expected": {"change": {"matched_count": 11, "solve_expected": false}, "effect": "hold", "code": "few_stars"},
	"few, expected, low": {"change": {"matched_count": 11, "solve_expected": true, "solve_altitude_deg": 14}, "effect": "hold", "code": "picture_low"},
	"few, expected, ill fitting": {"change": {"matched_count": 11, "solve_expected": true, "residual_ratio": 9}, "effect": "hold", "code": "fit_poor"},
	"many, expected": {"change": {"solve_expected": true}, "effect": "pass", "code": "solve_good"},
	"fit on the edge": {"change": {"residual_ratio": 1}, "effect": "pass", "code": "solve_good"},
	"fit past the edge": {"change": {"residual_ratio": 1.0000001}, "effect": "hold", "code": "fit_poor"},
	"altitude on the edge": {"change": {"solve_altitude_deg": 15}, "effect": "pass", "code": "solve_good"},
	"altitude past the edge": {"change": {"solve_altitude_deg": 14.9999999}, "effect": "hold", "code": "picture_low"},
	"all three": {"change": {"matched_count": 0, "residual_ratio": 9, "solve_altitude_deg": 1}, "effect": "hold", "code": "few_stars"},
	"fit and altitude": {"change": {"residual_ratio": 9, "solve_altitude_deg": 1}, "effect": "hold", "code": "fit_poor"},
	"stars and altitude": {"change": {"matched_count": 0, "solve_altitude_deg": 1}, "effect": "hold", "code": "few_stars"},
	"stars and fit": {"change": {"matched_count": 0, "residual_ratio": 9}, "effect": "hold", "code": "few_stars"},
}

# The rule said again, in words: first enough stars, or fewer where the solve is expected; then the fit; then the altitude.
said(stars, expected, residual, altitude, l) := "few_stars" if {
	stars < l.matched
	not enough(stars, expected, l)
} else := "fit_poor" if {
	residual > l.residual_ratio
} else := "picture_low" if {
	altitude < l.altitude_deg
} else := "solve_good" if {
	stars >= l.matched
} else := "few_but_expected"

enough(stars, true, l) if stars >= l.matched_expected

# Every cell, with either of the two numbers of stars above the other.
test_said_again[note] if {
	some few in [{"matched": 12, "matched_expected": 4}, {"matched": 4, "matched_expected": 12}, {"matched": 8, "matched_expected": 8}]
	l := object.union(limits, few)
	some stars in [3, 4, 8, 12]
	some expected in [true, false]
	some residual in [1, 2]
	some altitude in [14, 15]
	note := sprintf("%v %v %v %v %v", [stars, expected, residual, altitude, few])
	quality.finding.code == said(stars, expected, residual, altitude, l) with input as {"matched_count": stars, "solve_expected": expected, "residual_ratio": residual, "solve_altitude_deg": altitude} with data.limits.solve.quality as l
}

needed := ["solve_expected", "matched_count", "residual_ratio", "solve_altitude_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	quality.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.solve.quality as limits
}

test_gone[fact] if {
	some fact in needed
	quality.finding == held with input as object.remove(good, [fact]) with data.limits.solve.quality as limits
}

wrong := {"solve_expected": ["true", null, [true], {}, 1], "matched_count": ["12", null, [12], {}, true], "residual_ratio": ["12", null, [12], {}, true], "solve_altitude_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	quality.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.quality as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["matched", "matched_expected", "residual_ratio", "altitude_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	quality.finding == held with input as good with data.limits.solve.quality as object.union(limits, {limit: value})
}
