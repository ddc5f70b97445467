# METADATA
# scope: package
# title: The pose is sharp
# description: >-
#   The standard deviation of either axis angle. Everything that is proven is proven for three of them either way,
#   so that a blurred pose makes every way wide.
# related_resources:
#   - ref: limits/pose.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, track, park, flip, sync]
#   if_missing: homing
#   codes:
#     pose_sharp: {fact: pose_sigma_axis1_deg, limit: sigma_deg}
#     axis1_blurred:
#       fact: pose_sigma_axis1_deg
#       limit: sigma_deg
#       sentence: "Axis 1 is known only to {value} (one standard deviation); {limit} is the most."
#       remedy: "Home the rig: that sharpens both axes. Where the next slew blurs them again, home it once more, let the mount itself take where it then stands for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [homing]
#       homed:
#         remedy: "Have a person state where the axes stand and how exactly (tell RIG homed … --sigma DEGREES): a homing as the rig file has it would leave them as unsure."
#         need: [attendance]
#     axis2_blurred:
#       fact: pose_sigma_axis2_deg
#       limit: sigma_deg
#       sentence: "Axis 2 is known only to {value} (one standard deviation); {limit} is the most."
#       remedy: "Home the rig: that sharpens both axes. Where the next slew blurs them again, home it once more, let the mount itself take where it then stands for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …)."
#       need: [homing]
#       homed:
#         remedy: "Have a person state where the axes stand and how exactly (tell RIG homed … --sigma DEGREES): a homing as the rig file has it would leave them as unsure."
#         need: [attendance]
package rules.pose.sharp

import data.limits.pose.sharp as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.pose_sigma_axis1_deg <= limits.sigma_deg][input.pose_sigma_axis2_deg <= limits.sigma_deg] if {
	is_number(input.pose_sigma_axis1_deg)
	is_number(input.pose_sigma_axis2_deg)
	is_number(limits.sigma_deg)
}

outcome := {
	true: {true: pose_sharp, false: axis2_blurred},
	false: {true: axis1_blurred, false: axis1_blurred},
}

pose_sharp := {"effect": "pass", "code": "pose_sharp"}

axis1_blurred := {"effect": "hold", "code": "axis1_blurred"}

axis2_blurred := {"effect": "hold", "code": "axis2_blurred"}
