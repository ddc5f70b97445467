# METADATA
# scope: package
# title: The mount is told what was solved
# description: >-
#   How far the position that the mount would be given lies from the solve, beside how far the optics look past the
#   tube. All other rules judge the solve; a mount that is told something else believes something else.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     given_solved: {fact: given_off_arcmin, limit: off_arcmin}
#     given_other:
#       fact: given_off_arcmin
#       limit: off_arcmin
#       sentence: "What the mount would be told lies {value} from the solve; {limit} is the most."
#       remedy: "Give the mount the position that was solved, in the frame that mount_sky names, or leave mount_sky out."
package rules.sync.given

import data.limits.sync.given as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.given_off_arcmin <= limits.off_arcmin] if {
	is_number(input.given_off_arcmin)
	is_number(limits.off_arcmin)
}

outcome := {
	true: given_solved,
	false: given_other,
}

given_solved := {"effect": "pass", "code": "given_solved"}

given_other := {"effect": "deny", "code": "given_other"}
