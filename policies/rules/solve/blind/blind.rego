# METADATA
# scope: package
# title: The solver looked far enough
# description: >-
#   A solve that searched only around a hint cannot show an error larger than its search radius. It matters for
#   the first solve after homing and for a second picture; elsewhere the hint may be as narrow as one likes.
# related_resources:
#   - ref: limits/solve.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     hint_wide: {fact: hint_radius_deg, limit: hint_deg}
#     hint_harmless: {fact: hint_matters}
#     hint_narrow:
#       fact: hint_radius_deg
#       limit: hint_deg
#       sentence: "The solver searched only {value} around its hint; {limit} is the least for this picture."
#       remedy: "Solve again blind, or with a wider search."
#       need: [second_solve]
package rules.solve.blind

import data.limits.solve.blind as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.hint_matters][radius >= limits.hint_deg] if {
	# missing: counts as no search at all
	radius := object.get(input, "hint_radius_deg", 0)
	is_number(radius)
	is_boolean(input.hint_matters)
	is_number(limits.hint_deg)
}

outcome := {
	true: {true: hint_wide, false: hint_narrow},
	false: {true: hint_harmless, false: hint_harmless},
}

hint_wide := {"effect": "pass", "code": "hint_wide"}

hint_harmless := {"effect": "pass", "code": "hint_harmless"}

hint_narrow := {"effect": "hold", "code": "hint_narrow"}
