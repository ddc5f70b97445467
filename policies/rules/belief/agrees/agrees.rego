# METADATA
# scope: package
# title: The mount believes what is so
# description: >-
#   The angle on the sky between where the mount believes that it points and where the measured pose says it does.
#   A mount told to slew turns by what it believes is missing, so that a false belief moves every end.
# related_resources:
#   - ref: limits/belief.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, track, park, flip]
#   if_missing: sample
#   codes:
#     belief_right: {fact: belief_error_sky_deg, limit: sky_deg}
#     belief_off:
#       fact: belief_error_sky_deg
#       limit: sky_deg
#       sentence: "The mount believes that it points {value} away from where it does; {limit} is the most."
#       remedy: "Solve a picture and ask for the sync. Where that is held, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [second_solve, homing]
package rules.belief.agrees

import data.limits.belief.agrees as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.belief_error_sky_deg <= limits.sky_deg] if {
	is_number(input.belief_error_sky_deg)
	is_number(limits.sky_deg)
}

outcome := {
	true: belief_right,
	false: belief_off,
}

belief_right := {"effect": "pass", "code": "belief_right"}

belief_off := {"effect": "hold", "code": "belief_off"}
