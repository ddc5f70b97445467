# METADATA
# scope: package
# title: Syncs do not walk
# description: >-
#   By how much all syncs since homing, this one included, have moved belief away from the pose; one that brings it
#   back takes off what others added. Many small ones may not do what one large one may not.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: sample
#   codes:
#     walk_small: {fact: sync_sum_axis1_deg, limit: axis_deg}
#     axis1_walked:
#       fact: sync_sum_axis1_deg
#       limit: axis_deg
#       sentence: "The syncs since homing would have moved axis 1 by {value} in all; {limit} is the most."
#       remedy: "Home the rig: that starts the sum anew."
#       need: [homing]
#     axis2_walked:
#       fact: sync_sum_axis2_deg
#       limit: axis_deg
#       sentence: "The syncs since homing would have moved axis 2 by {value} in all; {limit} is the most."
#       remedy: "Home the rig: that starts the sum anew."
#       need: [homing]
package rules.sync.sum

import data.limits.sync.sum as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.sync_sum_axis1_deg <= limits.axis_deg][input.sync_sum_axis2_deg <= limits.axis_deg] if {
	is_number(input.sync_sum_axis1_deg)
	is_number(input.sync_sum_axis2_deg)
	is_number(limits.axis_deg)
}

outcome := {
	true: {true: walk_small, false: axis2_walked},
	false: {true: axis1_walked, false: axis1_walked},
}

walk_small := {"effect": "pass", "code": "walk_small"}

axis1_walked := {"effect": "hold", "code": "axis1_walked"}

axis2_walked := {"effect": "hold", "code": "axis2_walked"}
