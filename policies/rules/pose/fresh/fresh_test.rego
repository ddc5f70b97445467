package rules.pose.fresh_test

import data.rules.pose.fresh

limits := {"age_s": 10, "moving_age_s": 2}

# A question that passes; each case changes it.
good := {"pose_age_s": 1.5, "pose_moving": false}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "fresh_at_rest"},
	"on the edge at rest": {"change": {"pose_age_s": 10}, "effect": "pass", "code": "fresh_at_rest"},
	"past the edge at rest": {"change": {"pose_age_s": 10.0000001}, "effect": "hold", "code": "stale_at_rest"},
	"moving": {"change": {"pose_moving": true}, "effect": "pass", "code": "fresh_moving"},
	"on the edge moving": {"change": {"pose_age_s": 2, "pose_moving": true}, "effect": "pass", "code": "fresh_moving"},
	"past the edge moving": {"change": {"pose_age_s": 2.0000001, "pose_moving": true}, "effect": "hold", "code": "stale_moving"},
	"old and moving": {"change": {"pose_age_s": 30, "pose_moving": true}, "effect": "hold", "code": "stale_moving"},
}

needed := ["pose_age_s", "pose_moving"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	fresh.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.pose.fresh as limits
}

test_gone[fact] if {
	some fact in needed
	fresh.finding == held with input as object.remove(good, [fact]) with data.limits.pose.fresh as limits
}

wrong := {"pose_age_s": ["12", null, [12], {}, true], "pose_moving": ["true", null, [true], {}, 1]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	fresh.finding == held with input as object.union(good, {fact: value}) with data.limits.pose.fresh as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["age_s", "moving_age_s"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	fresh.finding == held with input as good with data.limits.pose.fresh as object.union(limits, {limit: value})
}

# A site may ask for younger samples at rest than the rest of us while moving.
test_limits_the_other_way[note] if {
	some note, moving in {"at rest": false, "moving": true}
	tight := {"age_s": 1, "moving_age_s": 2}
	fresh.finding == {"effect": "hold", "code": "stale_at_rest"} with input as {"pose_age_s": 1.5, "pose_moving": moving} with data.limits.pose.fresh as tight
}
