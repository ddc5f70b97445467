package rules.mount.map_test

import data.rules.mount.map

limits := {"axis_deg": 0.5}

# A question that passes; each case changes it.
good := {"mount_map_error_deg": 0.02}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "map_right"},
	"on the edge": {"change": {"mount_map_error_deg": 0.5}, "effect": "pass", "code": "map_right"},
	"past the edge": {"change": {"mount_map_error_deg": 0.5000001}, "effect": "hold", "code": "map_wrong"},
	"an hour": {"change": {"mount_map_error_deg": 15}, "effect": "hold", "code": "map_wrong"},
}

needed := ["mount_map_error_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	map.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.mount.map as limits
}

test_gone[fact] if {
	some fact in needed
	map.finding == held with input as object.remove(good, [fact]) with data.limits.mount.map as limits
}

wrong := {"mount_map_error_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	map.finding == held with input as object.union(good, {fact: value}) with data.limits.mount.map as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["axis_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	map.finding == held with input as good with data.limits.mount.map as object.union(limits, {limit: value})
}
