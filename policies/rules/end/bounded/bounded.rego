# METADATA
# scope: package
# title: The ends are bounded
# description: >-
#   How far apart the places are in which the motion could end (for a sync: the next slews), over all that is not
#   known of the mount. Every one of them is judged; where they lie too far apart, something about the mount has
#   to be settled first.
# related_resources:
#   - ref: limits/end.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, track, park, flip, sync]
#   if_missing: sample
#   codes:
#     ends_close: {fact: end_spread_deg, limit: spread_deg}
#     ends_spread:
#       fact: end_spread_deg
#       limit: spread_deg
#       sentence: "This could end in places {value} apart ({about|several ends are predicted}); {limit} is the most."
#       remedy: "See that the mount's clock and site are right, solve a picture off the pole and ask for the sync. Where that is held or settles nothing, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       remedies:
#         slew: "See that the mount's clock and site are right, solve a picture off the pole and ask for the sync. Where that is held or settles nothing, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …). Where the places lie about a turn apart, choose another target instead."
#         sync: "If the tube points near the pole, take a picture farther from it, where a sync turns the axes less; else see that the mount's clock and site are right, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [second_solve, homing, clock, site]
package rules.end.bounded

import data.limits.end.bounded as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.end_spread_deg <= limits.spread_deg] if {
	is_number(input.end_spread_deg)
	is_number(limits.spread_deg)
}

outcome := {
	true: ends_close,
	false: ends_spread,
}

ends_close := {"effect": "pass", "code": "ends_close"}

ends_spread := {"effect": "hold", "code": "ends_spread"}
