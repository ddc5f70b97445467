package rules.sync.walk_test

import data.rules.sync.walk

limits := {"walk_sigma": 5, "run_sigma": 8, "drift_sigma": 4}

# A question that passes; each case changes it.
good := {"walk_sigma": 0.5, "run_sigma": 0.25, "drift_sigma": 0.125}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "no_walk"},
	"walk on the edge": {"change": {"walk_sigma": 5}, "effect": "pass", "code": "no_walk"},
	"walk past the edge": {"change": {"walk_sigma": 5.0000001}, "effect": "hold", "code": "walked"},
	"run on the edge": {"change": {"run_sigma": 8, "drift_sigma": 4}, "effect": "pass", "code": "no_walk"},
	"run past the edge": {"change": {"run_sigma": 8.0000001}, "effect": "hold", "code": "one_sided"},
	"drift on the edge": {"change": {"drift_sigma": 4}, "effect": "pass", "code": "no_walk"},
	"drift past the edge": {"change": {"drift_sigma": 4.0000001}, "effect": "hold", "code": "drifting"},
	"run and drift": {"change": {"run_sigma": 90, "drift_sigma": 90}, "effect": "hold", "code": "one_sided"},
	"walk and drift": {"change": {"walk_sigma": 90, "drift_sigma": 90}, "effect": "hold", "code": "walked"},
	"all": {"change": {"walk_sigma": 90, "run_sigma": 90, "drift_sigma": 90}, "effect": "hold", "code": "walked"},
	"both": {"change": {"walk_sigma": 90, "run_sigma": 90}, "effect": "hold", "code": "walked"},
}

needed := ["walk_sigma", "run_sigma", "drift_sigma"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	walk.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.sync.walk as limits
}

test_gone[fact] if {
	some fact in needed
	walk.finding == held with input as object.remove(good, [fact]) with data.limits.sync.walk as limits
}

wrong := {"walk_sigma": ["12", null, [12], {}, true], "run_sigma": ["12", null, [12], {}, true], "drift_sigma": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	walk.finding == held with input as object.union(good, {fact: value}) with data.limits.sync.walk as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["walk_sigma", "run_sigma", "drift_sigma"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	walk.finding == held with input as good with data.limits.sync.walk as object.union(limits, {limit: value})
}
