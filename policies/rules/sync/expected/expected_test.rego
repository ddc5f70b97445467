package rules.sync.expected_test

import data.rules.sync.expected

limits := {"first_arcmin": 180, "d2": 13.8, "deny_arcmin": 600}

# A question that passes; each case changes it.
good := {"sync_is_first": true, "expected_offset_arcmin": 50, "expected_offset_sharp_arcmin": 50, "offset_d2": 2}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "first_near"},
	"first on the edge": {"change": {"expected_offset_arcmin": 180}, "effect": "pass", "code": "first_near"},
	"first past the edge": {"change": {"expected_offset_arcmin": 180.0000001}, "effect": "hold", "code": "first_far"},
	"first, by its scatter on the edge": {"change": {"offset_d2": 13.8}, "effect": "pass", "code": "first_near"},
	"first, by its scatter past the edge": {"change": {"offset_d2": 13.8000001}, "effect": "hold", "code": "first_unlike"},
	"first, both": {"change": {"expected_offset_arcmin": 181, "offset_d2": 14}, "effect": "hold", "code": "first_far"},
	"first on the deny edge": {"change": {"expected_offset_arcmin": 600}, "effect": "hold", "code": "first_far"},
	"first past the deny edge": {"change": {"expected_offset_arcmin": 600.0000001, "expected_offset_sharp_arcmin": 600.0000001}, "effect": "deny", "code": "solve_false"},
	"later": {"change": {"sync_is_first": false}, "effect": "pass", "code": "solve_near"},
	"later on the edge": {"change": {"sync_is_first": false, "offset_d2": 13.8}, "effect": "pass", "code": "solve_near"},
	"later past the edge": {"change": {"sync_is_first": false, "offset_d2": 13.8000001}, "effect": "hold", "code": "solve_far"},
	"later, wide but within its scatter": {"change": {"sync_is_first": false, "expected_offset_arcmin": 300}, "effect": "pass", "code": "solve_near"},
	"later, wide and beyond its scatter": {"change": {"sync_is_first": false, "expected_offset_arcmin": 300, "offset_d2": 40}, "effect": "hold", "code": "solve_far"},
	"later, on the deny edge": {"change": {"sync_is_first": false, "expected_offset_arcmin": 600, "offset_d2": 40}, "effect": "hold", "code": "solve_far"},
	"later, past the deny edge": {"change": {"sync_is_first": false, "expected_offset_arcmin": 601, "expected_offset_sharp_arcmin": 601, "offset_d2": 40}, "effect": "deny", "code": "solve_false"},
	"later, past the deny edge within its scatter": {"change": {"sync_is_first": false, "expected_offset_arcmin": 601, "expected_offset_sharp_arcmin": 601}, "effect": "deny", "code": "solve_false"},
	"first, near another place": {"change": {"expected_offset_arcmin": 601}, "effect": "hold", "code": "pose_in_doubt"},
	"first, another place on the deny edge": {"change": {"expected_offset_arcmin": 601, "expected_offset_sharp_arcmin": 600}, "effect": "hold", "code": "pose_in_doubt"},
	"later, near another place and within its scatter": {"change": {"sync_is_first": false, "expected_offset_arcmin": 601}, "effect": "hold", "code": "pose_in_doubt"},
	"farther from all places than from the likeliest": {"change": {"expected_offset_sharp_arcmin": 601}, "effect": "hold", "code": "fact_missing"},
}

needed := ["sync_is_first", "expected_offset_arcmin"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	expected.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.expected as limits
}

test_gone[fact] if {
	some fact in needed
	expected.finding == held with input as object.remove(good, [fact]) with data.limits.sync.expected as limits
}

wrong := {"sync_is_first": ["true", null, [true], {}, 1], "expected_offset_arcmin": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	expected.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.expected as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["offset_d2", "expected_offset_sharp_arcmin"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	expected.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.expected as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["first_arcmin", "d2", "deny_arcmin"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	expected.finding == held with input as good with data.limits.sync.expected as object.union(limits, {limit: value})
}

# A second writing of the rule, held against it over every side of every limit, also where a site denies nearer than a first solve may lie.
wanted(facts, deny) := array.concat(array.concat(array.concat(beyond, odd), array.concat(doubt, near)), array.concat(array.concat(array.concat(far, first), known), unlike))[0] if {
	offset := facts.expected_offset_arcmin
	sharp := facts.expected_offset_sharp_arcmin
	beyond := [{"effect": "deny", "code": "solve_false"} | offset > deny; sharp > deny]
	odd := [held | offset <= deny; sharp > deny]
	doubt := [{"effect": "hold", "code": "pose_in_doubt"} | offset > deny]
	near := [{"effect": "pass", "code": "first_near"} | facts.sync_is_first; offset <= 180; facts.offset_d2 <= 13.8]
	far := [{"effect": "hold", "code": "first_far"} | facts.sync_is_first; offset > 180]
	first := [{"effect": "hold", "code": "first_unlike"} | facts.sync_is_first]
	known := [{"effect": "pass", "code": "solve_near"} | facts.offset_d2 <= 13.8]
	unlike := [{"effect": "hold", "code": "solve_far"}]
}

places := [place |
	some offset in [50, 150, 190, 700]
	some sharp in [50, 700]
	some d2 in [2, 40]
	place := {"expected_offset_arcmin": offset, "expected_offset_sharp_arcmin": sharp, "offset_d2": d2}
]

test_first_600[note] if {
	some place in places
	facts := object.union(place, {"sync_is_first": true})
	note := sprintf("%v", [place])
	expected.finding == wanted(facts, 600) with input as facts with data.limits.sync.expected as object.union(limits, {"deny_arcmin": 600})
}

test_first_100[note] if {
	some place in places
	facts := object.union(place, {"sync_is_first": true})
	note := sprintf("%v", [place])
	expected.finding == wanted(facts, 100) with input as facts with data.limits.sync.expected as object.union(limits, {"deny_arcmin": 100})
}

test_later_600[note] if {
	some place in places
	facts := object.union(place, {"sync_is_first": false})
	note := sprintf("%v", [place])
	expected.finding == wanted(facts, 600) with input as facts with data.limits.sync.expected as object.union(limits, {"deny_arcmin": 600})
}

test_later_100[note] if {
	some place in places
	facts := object.union(place, {"sync_is_first": false})
	note := sprintf("%v", [place])
	expected.finding == wanted(facts, 100) with input as facts with data.limits.sync.expected as object.union(limits, {"deny_arcmin": 100})
}

# A figure that is missing: the scatter counts as far off, and what the best place gives as on the limit, whatever the others are.
test_missing_counts_as if {
	later := {"sync_is_first": false, "expected_offset_arcmin": 5, "expected_offset_sharp_arcmin": 5}
	expected.finding == {"effect": "hold", "code": "solve_far"} with input as later with data.limits.sync.expected as limits
	first := {"sync_is_first": true, "expected_offset_arcmin": 5, "offset_d2": 2}
	expected.finding == {"effect": "pass", "code": "first_near"} with input as first with data.limits.sync.expected as object.union(limits, {"deny_arcmin": 10})
}
