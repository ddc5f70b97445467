package rules.track.fits_test

import data.rules.track.fits

limits := {"spare_s": 60}

# A question that passes; each case changes it.
good := {"track_spare_s": 1800, "track_spare_sharp_s": 1900}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "track_fits"},
	"on the edge": {"change": {"track_spare_s": 60}, "effect": "pass", "code": "track_fits"},
	"past the edge": {"change": {"track_spare_s": 59.9999999}, "effect": "hold", "code": "track_tight"},
	"sharp on the edge": {"change": {"track_spare_s": 20, "track_spare_sharp_s": 60}, "effect": "hold", "code": "track_tight"},
	"sharp past the edge": {"change": {"track_spare_s": 20, "track_spare_sharp_s": 59.9999999}, "effect": "deny", "code": "track_too_long"},
	"hours too long": {"change": {"track_spare_s": -7200, "track_spare_sharp_s": -7100}, "effect": "deny", "code": "track_too_long"},
	"within with uncertainty, rougher without": {"change": {"track_spare_sharp_s": 59}, "effect": "pass", "code": "track_fits"},
}

needed := ["track_spare_s"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	fits.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.track.fits as limits
}

test_gone[fact] if {
	some fact in needed
	fits.finding == held with input as object.remove(good, [fact]) with data.limits.track.fits as limits
}

wrong := {"track_spare_s": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	fits.finding == held with input as object.union(good, {fact: value}) with data.limits.track.fits as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["track_spare_sharp_s"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	fits.finding == held with input as object.union(good, {fact: value}) with data.limits.track.fits as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["spare_s"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	fits.finding == held with input as good with data.limits.track.fits as object.union(limits, {limit: value})
}
