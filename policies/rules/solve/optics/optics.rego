# METADATA
# scope: package
# title: The picture fits the optics
# description: >-
#   Scale, camera angle and handedness of the solve against what these optics give. A mirrored picture is no
#   picture of the sky through them; the others can have an honest reason. Where nothing is learnt yet, the facts
#   count as no error and say that they are absent.
# related_resources:
#   - ref: limits/solve.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     optics_fit: {fact: scale_error_ratio, limit: scale_ratio}
#     mirrored:
#       fact: mirrored_wrong
#       sentence: "The solve is mirrored against what these optics show: it is no picture through them."
#       remedy: "Do not sync; name the right optics, or take and solve another picture."
#     scale_off:
#       fact: scale_error_ratio
#       limit: scale_ratio
#       sentence: "The scale of the picture is {value} off what these optics give; {limit} is the most."
#       remedy: "Name the right optics and binning, or take and solve another picture."
#       need: [second_solve]
#     rotation_off:
#       fact: rotation_error_deg
#       limit: rotation_deg
#       sentence: "The camera stands {value} away from its usual angle; {limit} is the most."
#       remedy: "If the camera was turned, report that; else take and solve another picture."
#       need: [second_solve]
package rules.solve.optics

import data.limits.solve.optics as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.mirrored_wrong][input.scale_error_ratio <= limits.scale_ratio][input.rotation_error_deg <= limits.rotation_deg] if {
	is_boolean(input.mirrored_wrong)
	is_number(input.scale_error_ratio)
	is_number(input.rotation_error_deg)
	is_number(limits.scale_ratio)
	is_number(limits.rotation_deg)
}

outcome := {
	true: {true: {true: mirrored, false: mirrored}, false: {true: mirrored, false: mirrored}},
	false: {true: {true: optics_fit, false: rotation_off}, false: {true: scale_off, false: scale_off}},
}

optics_fit := {"effect": "pass", "code": "optics_fit"}

mirrored := {"effect": "deny", "code": "mirrored"}

scale_off := {"effect": "hold", "code": "scale_off"}

rotation_off := {"effect": "hold", "code": "rotation_off"}
