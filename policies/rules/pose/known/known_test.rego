package rules.pose.known_test

import data.rules.pose.known

# A question that passes; each case changes it.
good := {"pose_state": "known", "polar_leans": false}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "pose_known"},
	"candidates": {"change": {"pose_state": "candidates"}, "effect": "hold", "code": "pose_candidates"},
	"known and leans": {"change": {"polar_leans": true}, "effect": "pass", "code": "pose_known"},
	"leans": {"change": {"pose_state": "candidates", "polar_leans": true}, "effect": "hold", "code": "axis_leans"},
	"unknown and leans": {"change": {"pose_state": "unknown", "polar_leans": true}, "effect": "hold", "code": "pose_unknown"},
	"unknown": {"change": {"pose_state": "unknown"}, "effect": "hold", "code": "pose_unknown"},
	"a word of tomorrow": {"change": {"pose_state": "certain"}, "effect": "hold", "code": "pose_unknown"},
	"no word": {"change": {"pose_state": ""}, "effect": "hold", "code": "pose_unknown"},
	"capitals": {"change": {"pose_state": "Known"}, "effect": "hold", "code": "pose_unknown"},
}

needed := ["pose_state", "polar_leans"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	known.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change)
}

test_gone[fact] if {
	some fact in needed
	known.finding == held with input as object.remove(good, [fact])
}

wrong := {"pose_state": [12, null, ["known"], {}, true], "polar_leans": ["true", null, [true], {}, 1]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	known.finding == held with input as object.union(good, {fact: value})
}
