package rules.pose.sharp_test

import data.rules.pose.sharp

limits := {"sigma_deg": 1.2}

# A question that passes; each case changes it.
good := {"pose_sigma_axis1_deg": 0.1, "pose_sigma_axis2_deg": 0.2}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "pose_sharp"},
	"axis 1 on the edge": {"change": {"pose_sigma_axis1_deg": 1.2}, "effect": "pass", "code": "pose_sharp"},
	"axis 1 past the edge": {"change": {"pose_sigma_axis1_deg": 1.2000001}, "effect": "hold", "code": "axis1_blurred"},
	"axis 2 on the edge": {"change": {"pose_sigma_axis2_deg": 1.2}, "effect": "pass", "code": "pose_sharp"},
	"axis 2 past the edge": {"change": {"pose_sigma_axis2_deg": 1.2000001}, "effect": "hold", "code": "axis2_blurred"},
	"both": {"change": {"pose_sigma_axis1_deg": 3, "pose_sigma_axis2_deg": 3}, "effect": "hold", "code": "axis1_blurred"},
}

needed := ["pose_sigma_axis1_deg", "pose_sigma_axis2_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	sharp.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.pose.sharp as limits
}

test_gone[fact] if {
	some fact in needed
	sharp.finding == held with input as object.remove(good, [fact]) with data.limits.pose.sharp as limits
}

wrong := {"pose_sigma_axis1_deg": ["12", null, [12], {}, true], "pose_sigma_axis2_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	sharp.finding == held with input as object.union(good, {fact: value}) with data.limits.pose.sharp as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["sigma_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	sharp.finding == held with input as good with data.limits.pose.sharp as object.union(limits, {limit: value})
}
