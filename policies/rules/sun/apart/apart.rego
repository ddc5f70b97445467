# METADATA
# scope: package
# title: The telescope stays away from the Sun
# description: >-
#   The smallest angle between the telescope and the Sun on the way and while tracking, the Sun's own motion
#   included. Passing the Sun blinds and burns.
# related_resources:
#   - ref: limits/sun.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, creep, home, park, flip]
#   if_missing: sample
#   codes:
#     away_from_sun: {fact: sun_separation_deg, limit: separation_deg}
#     sun_uncertain:
#       fact: sun_separation_deg
#       limit: separation_deg
#       sentence: "With the uncertainty of the pose counted, the telescope could pass {value} from the Sun; {limit} is the least."
#       remedy: "Home the rig: that sharpens both axes."
#       remedies:
#         retreat: "Home the rig where a sensor does that; else a person states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG), or turns them home by hand and states that."
#         home: "Jog away from there first, or have a person state where the axes stand."
#       need: [homing]
#       homed:
#         sharp: sun_separation_sharp_deg
#         remedy: "Wait until the Sun has set, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           slew: "Choose a target or a way farther from the Sun, wait until it has set, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#           track: "Ask for a shorter track, wait until the Sun has set, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#           home: "Jog away from there first, wait until the Sun has set, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES)."
#         need: [attendance]
#     sun_near:
#       fact: sun_separation_sharp_deg
#       limit: separation_deg
#       sentence: "The telescope would pass {value} from the Sun; {limit} is the least."
#       remedy: "Wait until the Sun has set, or choose another target or way."
#       remedies:
#         retreat: "Wait until the Sun has set, or choose another way. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         track: "Ask for a shorter track, or wait until the Sun has set. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         jog: "Jog the other way, or wait until the Sun has set. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         creep: "Creep the other way, or wait until the Sun has set. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         home: "Home with the axes in another order, or wait until the Sun has set. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         park: "Choose another place of rest, or wait until the Sun has set. Where the tube points there already, cover it at once, turn it away by hand without looking through it, and state where the axes stand (tell RIG homed …)."
#         flip: "Wait until the Sun has set, or slew to another target instead."
package rules.sun.apart

import data.limits.sun.apart as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.sun_separation_deg >= limits.separation_deg][sharp >= limits.separation_deg] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "sun_separation_sharp_deg", limits.separation_deg)
	is_number(sharp)
	is_number(input.sun_separation_deg)
	is_number(limits.separation_deg)
}

outcome := {
	true: {true: away_from_sun, false: away_from_sun},
	false: {true: sun_uncertain, false: sun_near},
}

away_from_sun := {"effect": "pass", "code": "away_from_sun"}

sun_uncertain := {"effect": "hold", "code": "sun_uncertain"}

sun_near := {"effect": "deny", "code": "sun_near"}
