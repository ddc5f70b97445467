# METADATA
# scope: package
# title: The pose is fresh
# description: >-
#   Every fact of a motion starts from the newest sample. At rest or tracking it may be somewhat old; while the
#   axes move it says little after two seconds.
# related_resources:
#   - ref: limits/pose.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, sync, track, jog, creep, park, flip]
#   if_missing: sample
#   codes:
#     fresh_at_rest: {fact: pose_age_s, limit: age_s}
#     fresh_moving: {fact: pose_age_s, limit: moving_age_s}
#     stale_at_rest:
#       fact: pose_age_s
#       limit: age_s
#       sentence: "The newest sample is {value} old; {limit} is the most."
#       remedy: "Send a new sample and ask again."
#       need: [sample]
#     stale_moving:
#       fact: pose_age_s
#       limit: moving_age_s
#       sentence: "The newest sample is {value} old and shows the axes moving; {limit} is the most then."
#       remedy: "Send a new sample and ask again."
#       need: [sample]
package rules.pose.fresh

import data.limits.pose.fresh as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.pose_moving][input.pose_age_s <= limits.age_s][input.pose_age_s <= limits.moving_age_s] if {
	is_number(input.pose_age_s)
	is_boolean(input.pose_moving)
	is_number(limits.age_s)
	is_number(limits.moving_age_s)
}

outcome := {
	false: {true: {true: fresh_at_rest, false: fresh_at_rest}, false: {true: stale_at_rest, false: stale_at_rest}},
	true: {true: {true: fresh_moving, false: stale_moving}, false: {true: stale_at_rest, false: stale_moving}},
}

fresh_at_rest := {"effect": "pass", "code": "fresh_at_rest"}

fresh_moving := {"effect": "pass", "code": "fresh_moving"}

stale_at_rest := {"effect": "hold", "code": "stale_at_rest"}

stale_moving := {"effect": "hold", "code": "stale_moving"}
