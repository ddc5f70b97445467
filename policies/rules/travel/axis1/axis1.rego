# METADATA
# scope: package
# title: Axis 1 stays within its travel
# description: >-
#   The smallest and the largest angle of axis 1 on the way, as the axis counts it: unreduced, so that meridian
#   overrun and cable wrap are travel. Passing an end is denied where it is certain, held where only the
#   uncertainty of the pose does it.
# related_resources:
#   - ref: limits/travel.yaml
#     description: that every rig states its own, and in which direction it may be tightened
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, creep, home, park, flip]
#   if_missing: sample
#   codes:
#     axis1_within: {fact: axis1_travel_max_deg, limit: high_deg}
#     axis1_near_low:
#       fact: axis1_travel_min_deg
#       limit: low_deg
#       sentence: "With the uncertainty of the pose counted, axis 1 could turn to {value}; its travel ends at {limit}."
#       remedy: "Home the rig: that sharpens both axes. Where a person has seen home already, tell it with a smaller uncertainty (--sigma)."
#       remedies:
#         retreat: "Home the rig where a sensor does that; else a person states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG), or turns them home by hand and states that."
#         home: "Jog away from there first, or have a person state where the axes stand."
#       need: [homing]
#       homed:
#         sharp: axis1_sharp_min_deg
#         remedy: "Stay farther from the end of travel, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           home: "Jog away from there first, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES)."
#         need: [attendance]
#     axis1_near_high:
#       fact: axis1_travel_max_deg
#       limit: high_deg
#       sentence: "With the uncertainty of the pose counted, axis 1 could turn to {value}; its travel ends at {limit}."
#       remedy: "Home the rig: that sharpens both axes. Where a person has seen home already, tell it with a smaller uncertainty (--sigma)."
#       remedies:
#         retreat: "Home the rig where a sensor does that; else a person states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG), or turns them home by hand and states that."
#         home: "Jog away from there first, or have a person state where the axes stand."
#       need: [homing]
#       homed:
#         sharp: axis1_sharp_max_deg
#         remedy: "Stay farther from the end of travel, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           home: "Jog away from there first, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES)."
#         need: [attendance]
#     axis1_past_low:
#       fact: axis1_sharp_min_deg
#       limit: low_deg
#       sentence: "Axis 1 would turn to {value}; its travel ends at {limit}."
#       remedy: "Choose another target, or the other side if the mount uses both."
#       remedies:
#         retreat: "Choose another place of rest, or have a person state where the axes stand, or turn them by hand; where the place of rest itself lies beyond, correct its angles in the rig file."
#         track: "Ask for a shorter track, or flip first if the mount uses both sides."
#         jog: "Jog the other way, or less far. Where axis 1 stands beyond its travel already, jog it farther back in, or turn it back by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         creep: "Creep the other way, or less far. Where axis 1 stands beyond its travel already, creep it farther back in, or turn it back by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         home: "Turn the axis back within its travel by hand, then state where the axes stand."
#         park: "Choose another place of rest, or correct its angles or the travel in the rig file."
#         flip: "Ask again with the target nearer the meridian or past it, ask for a shorter track after it, or slew to another target instead."
#     axis1_past_high:
#       fact: axis1_sharp_max_deg
#       limit: high_deg
#       sentence: "Axis 1 would turn to {value}; its travel ends at {limit}."
#       remedy: "Choose another target, or the other side if the mount uses both."
#       remedies:
#         retreat: "Choose another place of rest, or have a person state where the axes stand, or turn them by hand; where the place of rest itself lies beyond, correct its angles in the rig file."
#         track: "Ask for a shorter track, or flip first if the mount uses both sides."
#         jog: "Jog the other way, or less far. Where axis 1 stands beyond its travel already, jog it farther back in, or turn it back by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         creep: "Creep the other way, or less far. Where axis 1 stands beyond its travel already, creep it farther back in, or turn it back by hand and state where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#         home: "Turn the axis back within its travel by hand, then state where the axes stand."
#         park: "Choose another place of rest, or correct its angles or the travel in the rig file."
#         flip: "Ask again with the target nearer the meridian or past it, ask for a shorter track after it, or slew to another target instead."
package rules.travel.axis1

import data.limits.travel.axis1 as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.axis1_travel_min_deg >= limits.low_deg][input.axis1_travel_max_deg <= limits.high_deg][sharp_min >= limits.low_deg][sharp_max <= limits.high_deg] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp_min := object.get(input, "axis1_sharp_min_deg", limits.low_deg)
	sharp_max := object.get(input, "axis1_sharp_max_deg", limits.high_deg)
	is_number(sharp_min)
	is_number(sharp_max)
	is_number(input.axis1_travel_min_deg)
	is_number(input.axis1_travel_max_deg)
	is_number(limits.low_deg)
	is_number(limits.high_deg)
}

outcome := {
	true: {
		true: {true: {true: axis1_within, false: axis1_within}, false: {true: axis1_within, false: axis1_within}},
		false: {true: {true: axis1_near_high, false: axis1_past_high}, false: {true: axis1_past_low, false: axis1_past_high}},
	},
	false: {
		true: {true: {true: axis1_near_low, false: axis1_past_high}, false: {true: axis1_past_low, false: axis1_past_low}},
		false: {true: {true: axis1_near_low, false: axis1_past_high}, false: {true: axis1_past_low, false: axis1_past_low}},
	},
}

axis1_within := {"effect": "pass", "code": "axis1_within"}

axis1_near_low := {"effect": "hold", "code": "axis1_near_low"}

axis1_near_high := {"effect": "hold", "code": "axis1_near_high"}

axis1_past_low := {"effect": "deny", "code": "axis1_past_low"}

axis1_past_high := {"effect": "deny", "code": "axis1_past_high"}
