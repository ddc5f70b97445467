package rules.rig.proven_test

import data.rules.rig.proven

limits := {"residual_mm": 10, "age_days": 365}

# A question that passes; each case changes it.
good := {"attended": true, "proof_residual_mm": 3, "proof_age_days": 40}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "attended"},
	"alone and proven": {"change": {"attended": false}, "effect": "pass", "code": "proven"},
	"residual on the edge": {"change": {"attended": false, "proof_residual_mm": 10}, "effect": "pass", "code": "proven"},
	"residual past the edge": {"change": {"attended": false, "proof_residual_mm": 10.0000001}, "effect": "hold", "code": "proof_coarse"},
	"age on the edge": {"change": {"attended": false, "proof_age_days": 365}, "effect": "pass", "code": "proven"},
	"age past the edge": {"change": {"attended": false, "proof_age_days": 365.0000001}, "effect": "hold", "code": "proof_old"},
	"coarse, but attended": {"change": {"proof_residual_mm": 99, "proof_age_days": 9999}, "effect": "pass", "code": "attended"},
	"coarse and old": {"change": {"attended": false, "proof_residual_mm": 99, "proof_age_days": 9999}, "effect": "hold", "code": "proof_coarse"},
	"old, but attended": {"change": {"proof_age_days": 9999}, "effect": "pass", "code": "attended"},
	"coarse and new, but attended": {"change": {"proof_residual_mm": 99}, "effect": "pass", "code": "attended"},
}

needed := ["attended"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	proven.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.rig.proven as limits
}

test_gone[fact] if {
	some fact in needed
	proven.finding == held with input as object.remove(good, [fact]) with data.limits.rig.proven as limits
}

wrong := {"attended": ["true", null, [true], {}, 1]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	proven.finding == held with input as object.union(good, {fact: value}) with data.limits.rig.proven as limits
}

# A fact that may be missing must still be a number where it is there.
test_wrong_type_where_optional[note] if {
	some fact in ["proof_residual_mm", "proof_age_days"]
	some value in ["12", null, [12], {}, true]
	note := sprintf("%s %v", [fact, value])
	proven.finding == held with input as object.union(good, {fact: value}) with data.limits.rig.proven as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["residual_mm", "age_days"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	proven.finding == held with input as good with data.limits.rig.proven as object.union(limits, {limit: value})
}

# Never proven: with nobody present each figure that is missing holds.
test_never_proven[fact] if {
	some fact, code in {"proof_residual_mm": "proof_coarse", "proof_age_days": "proof_old"}
	alone := object.union(good, {"attended": false})
	proven.finding == {"effect": "hold", "code": code} with input as object.remove(alone, [fact]) with data.limits.rig.proven as limits
}
