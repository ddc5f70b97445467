# METADATA
# scope: package
# title: The picture fits the optics
# description: >-
#   Scale, camera angle and handedness of the solve against what these optics give. A picture mirrored against what
#   the rig file states, or several accepted pictures show, is no picture of the sky through them; the others can have
#   an honest reason. What a single accepted picture showed proves nothing: two later ones that agree with the pose
#   and each other are taken against it. Where nothing is learnt yet, the facts count as no error and say that they
#   are absent.
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
#       remedy: "Do not sync; name the right optics, or take and solve another picture. If what shows pictures mirrored was changed, report that the payload changed; if the rig file states it wrongly, mend the file."
#     unlike:
#       fact: mirrored_unlike
#       sentence: "One of two pictures is mirrored, this one or the one accepted through these optics: one of them is wrong."
#       remedy: "Move by more than one field, expose, and solve blind: two pictures that agree with the pose and each other are taken against one."
#       need: [second_solve]
#     scale_off:
#       fact: scale_error_ratio
#       limit: scale_ratio
#       sentence: "The scale of the picture is {value} off what these optics give; {limit} is the most."
#       remedy: "Name the right optics and binning; else move by more than one field, expose, and solve blind."
#       need: [second_solve]
#     rotation_off:
#       fact: rotation_error_deg
#       limit: rotation_deg
#       sentence: "The camera stands {value} away from its usual angle; {limit} is the most."
#       remedy: "If the camera was turned, report that the payload changed; else move by more than one field, expose, and solve blind."
#       need: [second_solve]
package rules.solve.optics

import data.limits.solve.optics as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.mirrored_wrong][input.mirrored_unlike][input.scale_error_ratio <= limits.scale_ratio][input.rotation_error_deg <= limits.rotation_deg] if {
	is_boolean(input.mirrored_wrong)
	is_boolean(input.mirrored_unlike)
	is_number(input.scale_error_ratio)
	is_number(input.rotation_error_deg)
	is_number(limits.scale_ratio)
	is_number(limits.rotation_deg)
}

outcome := {
	true: {
		true: {true: {true: mirrored, false: mirrored}, false: {true: mirrored, false: mirrored}},
		false: {true: {true: mirrored, false: mirrored}, false: {true: mirrored, false: mirrored}},
	},
	false: {
		true: {true: {true: unlike, false: unlike}, false: {true: unlike, false: unlike}},
		false: {true: {true: optics_fit, false: rotation_off}, false: {true: scale_off, false: scale_off}},
	},
}

optics_fit := {"effect": "pass", "code": "optics_fit"}

mirrored := {"effect": "deny", "code": "mirrored"}

unlike := {"effect": "hold", "code": "unlike"}

scale_off := {"effect": "hold", "code": "scale_off"}

rotation_off := {"effect": "hold", "code": "rotation_off"}
