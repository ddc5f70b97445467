# METADATA
# scope: package
# title: The target stands above the local horizon
# description: >-
#   The least altitude of the target above the local horizon profile at the end of the motion; what tracking does is
#   track/fits's. The floor binds all along the way; this binds targets on the sky only.
# related_resources:
#   - ref: limits/sky.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, track, flip]
#   when: {slew: [sky_target]}
#   if_missing: sample
#   codes:
#     above_horizon: {fact: above_horizon_deg, limit: above_deg}
#     near_horizon:
#       fact: above_horizon_deg
#       limit: above_deg
#       sentence: "With the uncertainty of the pose counted, the target could stand as low as {value}, counted from the local horizon; {limit} is the least."
#       remedy: "Home the rig: that sharpens both axes; or choose a target that stands higher."
#       need: [homing]
#       homed:
#         sharp: above_horizon_sharp_deg
#         remedy: "Choose a target that stands higher, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           track: "Stop tracking, choose a target that stands higher, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         need: [attendance]
#     behind_horizon:
#       fact: above_horizon_sharp_deg
#       limit: above_deg
#       sentence: "The target would stand {value} high, counted from the local horizon; {limit} is the least."
#       remedy: "Choose a target that stands higher, or track this one for a shorter time."
#       remedies:
#         track: "Ask for a shorter track, or wait until the target stands higher."
#         flip: "Ask for a shorter track after it, or slew to another target instead."
package rules.sky.horizon

import data.limits.sky.horizon as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.above_horizon_deg >= limits.above_deg][sharp >= limits.above_deg] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "above_horizon_sharp_deg", limits.above_deg)
	is_number(sharp)
	is_number(input.above_horizon_deg)
	is_number(limits.above_deg)
}

outcome := {
	true: {true: above_horizon, false: above_horizon},
	false: {true: near_horizon, false: behind_horizon},
}

above_horizon := {"effect": "pass", "code": "above_horizon"}

near_horizon := {"effect": "hold", "code": "near_horizon"}

behind_horizon := {"effect": "deny", "code": "behind_horizon"}
