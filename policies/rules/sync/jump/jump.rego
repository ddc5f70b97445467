# METADATA
# scope: package
# title: A sync is no leap
# description: >-
#   By how much this one sync would turn what the mount believes, in axis terms: near the pole a small angle on
#   the sky is a large one on axis 1. Where the pointing expects the solve, more is allowed: from field to
#   field what bends the mount turns over.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: sample
#   codes:
#     step_small: {fact: sync_jump_axis1_deg, limit: axis_deg}
#     axis1_expected: {fact: sync_jump_axis1_deg, limit: axis_expected_deg}
#     axis2_expected: {fact: sync_jump_axis2_deg, limit: axis_expected_deg}
#     both_expected: {fact: sync_jump_axis1_deg, limit: axis_expected_deg}
#     axis1_leaps:
#       fact: sync_jump_axis1_deg
#       limit: axis_deg
#       sentence: "This sync would turn the belief of axis 1 by {value} at once; {limit} is the most."
#       remedy: "Near the pole do without the sync, and centre by a jog. Farther off take another picture; if it says the same, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [homing]
#     axis2_leaps:
#       fact: sync_jump_axis2_deg
#       limit: axis_deg
#       sentence: "This sync would turn the belief of axis 2 by {value} at once; {limit} is the most."
#       remedy: "Take another picture; if it says the same, bring the rig home, by hand if need be, let the mount itself take that for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [homing]
package rules.sync.jump

import data.limits.sync.jump as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.sync_jump_axis1_deg <= limits.axis_deg][input.sync_jump_axis2_deg <= limits.axis_deg][input.sync_jump_axis1_deg <= limits.axis_expected_deg][input.sync_jump_axis2_deg <= limits.axis_expected_deg][input.solve_expected] if {
	is_number(input.sync_jump_axis1_deg)
	is_number(input.sync_jump_axis2_deg)
	is_boolean(input.solve_expected)
	is_number(limits.axis_deg)
	is_number(limits.axis_expected_deg)
}

# A site may set either limit above the other. Left out is what cannot be: one axis past axis_deg but within axis_expected_deg, the
# other past axis_expected_deg but within axis_deg.
outcome := {
	true: {
		true: {
			true: {true: {true: step_small, false: step_small}, false: {true: step_small, false: step_small}},
			false: {true: {true: step_small, false: step_small}, false: {true: step_small, false: step_small}},
		},
		false: {
			true: {true: {true: axis2_expected, false: axis2_leaps}, false: {true: axis2_leaps, false: axis2_leaps}},
			false: {false: {true: axis2_leaps, false: axis2_leaps}},
		},
	},
	false: {
		true: {
			true: {true: {true: axis1_expected, false: axis1_leaps}},
			false: {true: {true: axis1_leaps, false: axis1_leaps}, false: {true: axis1_leaps, false: axis1_leaps}},
		},
		false: {
			true: {true: {true: both_expected, false: axis1_leaps}, false: {true: axis1_leaps, false: axis1_leaps}},
			false: {true: {true: axis1_leaps, false: axis1_leaps}, false: {true: axis1_leaps, false: axis1_leaps}},
		},
	},
}

step_small := {"effect": "pass", "code": "step_small"}

axis1_expected := {"effect": "pass", "code": "axis1_expected"}

axis2_expected := {"effect": "pass", "code": "axis2_expected"}

both_expected := {"effect": "pass", "code": "both_expected"}

axis1_leaps := {"effect": "hold", "code": "axis1_leaps"}

axis2_leaps := {"effect": "hold", "code": "axis2_leaps"}
