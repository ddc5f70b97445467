# METADATA
# scope: package
# title: The telescope stays above the floor
# description: >-
#   The lowest altitude at which the telescope points anywhere on the way, homing and parking included. Of a way that begins below the floor and only
#   leads up from there the floor itself is told, or where the way ends if that is lower: who stands too low may rise.
# related_resources:
#   - ref: limits/sky.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, creep, home, park, flip]
#   if_missing: sample
#   codes:
#     above_floor: {fact: altitude_min_deg, limit: altitude_deg}
#     near_floor:
#       fact: altitude_min_deg
#       limit: altitude_deg
#       sentence: "With the uncertainty of the pose counted, the telescope could point down to {value} of altitude; the floor is {limit}."
#       remedy: "Home the rig: that sharpens both axes. Where a person has seen home already, tell it with a smaller uncertainty (--sigma), or choose a place that lies higher."
#       remedies:
#         retreat: "Home the rig where a sensor does that; else a person states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG), or turns them home by hand and states that."
#         home: "Jog away from there first, or have a person state where the axes stand."
#       need: [homing]
#       homed:
#         sharp: altitude_sharp_min_deg
#         remedy: "Choose a place that lies higher, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           retreat: "Jog higher first, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#           track: "Ask for a shorter track, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#           home: "Jog higher first, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES)."
#         need: [attendance]
#     below_floor:
#       fact: altitude_sharp_min_deg
#       limit: altitude_deg
#       sentence: "The telescope would point down to {value} of altitude; the floor is {limit}."
#       remedy: "Choose a higher target, or another way to it."
#       remedies:
#         retreat: "Jog higher first, or go to another place of rest."
#         track: "Ask for a shorter track."
#         jog: "Jog the other way, or less far. Where it points below the floor already, jog it farther up, or turn it up by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         creep: "Creep the other way, less far, or by the other axis. Where it points below the floor already, creep it farther up, or turn it up by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         home: "Home with the axes in another order, or jog higher first."
#         park: "Choose another place of rest, or home instead."
#         flip: "Ask for a shorter track after it, or slew to a higher target instead."
package rules.sky.floor

import data.limits.sky.floor as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.altitude_min_deg >= limits.altitude_deg][sharp >= limits.altitude_deg] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "altitude_sharp_min_deg", limits.altitude_deg)
	is_number(sharp)
	is_number(input.altitude_min_deg)
	is_number(limits.altitude_deg)
}

outcome := {
	true: {true: above_floor, false: above_floor},
	false: {true: near_floor, false: below_floor},
}

above_floor := {"effect": "pass", "code": "above_floor"}

near_floor := {"effect": "hold", "code": "near_floor"}

below_floor := {"effect": "deny", "code": "below_floor"}
