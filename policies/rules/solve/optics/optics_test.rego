package rules.solve.optics_test

import data.rules.solve.optics

limits := {"scale_ratio": 0.02, "rotation_deg": 3}

# A question that passes; each case changes it.
good := {"mirrored_wrong": false, "mirrored_unlike": false, "scale_error_ratio": 0.001, "rotation_error_deg": 0.2}

cases := {
	"good": {"change": {}, "effect": "pass", "code": "optics_fit"},
	"scale on the edge": {"change": {"scale_error_ratio": 0.02}, "effect": "pass", "code": "optics_fit"},
	"scale past the edge": {"change": {"scale_error_ratio": 0.0200001}, "effect": "hold", "code": "scale_off"},
	"angle on the edge": {"change": {"rotation_error_deg": 3}, "effect": "pass", "code": "optics_fit"},
	"angle past the edge": {"change": {"rotation_error_deg": 3.0000001}, "effect": "hold", "code": "rotation_off"},
	"scale and angle": {"change": {"scale_error_ratio": 1, "rotation_error_deg": 90}, "effect": "hold", "code": "scale_off"},
	"mirrored": {"change": {"mirrored_wrong": true}, "effect": "deny", "code": "mirrored"},
	"mirrored and all else": {"change": {"mirrored_wrong": true, "scale_error_ratio": 1, "rotation_error_deg": 90}, "effect": "deny", "code": "mirrored"},
	"mirrored and angle": {"change": {"mirrored_wrong": true, "rotation_error_deg": 90}, "effect": "deny", "code": "mirrored"},
	"mirrored and scale": {"change": {"mirrored_wrong": true, "scale_error_ratio": 1}, "effect": "deny", "code": "mirrored"},
	"mirrored and unlike": {"change": {"mirrored_wrong": true, "mirrored_unlike": true}, "effect": "deny", "code": "mirrored"},
	"mirrored and unlike and all else": {"change": {"mirrored_wrong": true, "mirrored_unlike": true, "scale_error_ratio": 1, "rotation_error_deg": 90}, "effect": "deny", "code": "mirrored"},
	"mirrored and unlike and scale": {"change": {"mirrored_wrong": true, "mirrored_unlike": true, "scale_error_ratio": 1}, "effect": "deny", "code": "mirrored"},
	"mirrored and unlike and angle": {"change": {"mirrored_wrong": true, "mirrored_unlike": true, "rotation_error_deg": 90}, "effect": "deny", "code": "mirrored"},
	"unlike": {"change": {"mirrored_unlike": true}, "effect": "hold", "code": "unlike"},
	"unlike and all else": {"change": {"mirrored_unlike": true, "scale_error_ratio": 1, "rotation_error_deg": 90}, "effect": "hold", "code": "unlike"},
	"unlike and scale": {"change": {"mirrored_unlike": true, "scale_error_ratio": 1}, "effect": "hold", "code": "unlike"},
	"unlike and angle": {"change": {"mirrored_unlike": true, "rotation_error_deg": 90}, "effect": "hold", "code": "unlike"},
}

needed := ["mirrored_wrong", "mirrored_unlike", "scale_error_ratio", "rotation_error_deg"]

held := {"effect": "hold", "code": "fact_missing"}

test_case[note] if {
	some note, case in cases
	optics.finding == {"effect": case.effect, "code": case.code} with input as object.union(good, case.change) with data.limits.solve.optics as limits
}

test_gone[fact] if {
	some fact in needed
	optics.finding == held with input as object.remove(good, [fact]) with data.limits.solve.optics as limits
}

wrong := {"mirrored_wrong": ["true", null, [true], {}, 1], "mirrored_unlike": ["true", null, [true], {}, 1], "scale_error_ratio": ["12", null, [12], {}, true], "rotation_error_deg": ["12", null, [12], {}, true]}

test_wrong_type[note] if {
	some fact, values in wrong
	some value in values
	note := sprintf("%s %v", [fact, value])
	optics.finding == held with input as object.union(good, {fact: value}) with data.limits.solve.optics as limits
}

# Go refuses such limits before they come here; the rule does not rely on it.
test_wrong_limit[note] if {
	some limit in ["scale_ratio", "rotation_deg"]
	some value in ["12", null, [12], {}, false]
	note := sprintf("%s %v", [limit, value])
	optics.finding == held with input as good with data.limits.solve.optics as object.union(limits, {limit: value})
}
