# METADATA
# scope: package
# title: The mount kept still during the exposure
# description: >-
#   How far the axes moved against the sky while the shutter was open.
# related_resources:
#   - ref: limits/solve.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     exposure_still: {fact: exposure_motion_arcsec, limit: motion_arcsec}
#     exposure_moved:
#       fact: exposure_motion_arcsec
#       limit: motion_arcsec
#       sentence: "The axes and the sky moved by {value} against each other during the exposure; {limit} is the most."
#       remedy: "Take the picture again while the mount tracks steadily."
#       need: [second_solve]
package rules.solve.still

import data.limits.solve.still as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.exposure_motion_arcsec <= limits.motion_arcsec] if {
	is_number(input.exposure_motion_arcsec)
	is_number(limits.motion_arcsec)
}

outcome := {
	true: exposure_still,
	false: exposure_moved,
}

exposure_still := {"effect": "pass", "code": "exposure_still"}

exposure_moved := {"effect": "hold", "code": "exposure_moved"}
