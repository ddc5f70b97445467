# METADATA
# scope: package
# title: The picture is fresh
# description: >-
#   The time since mid-exposure. An old picture says where the rig pointed then.
# related_resources:
#   - ref: limits/solve.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     picture_fresh: {fact: solve_age_s, limit: age_s}
#     picture_old:
#       fact: solve_age_s
#       limit: age_s
#       sentence: "The picture is {value} old; {limit} is the most ({about|from mid-exposure to now})."
#       remedy: "Take and solve a new picture."
#       need: [second_solve]
package rules.solve.fresh

import data.limits.solve.fresh as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.solve_age_s <= limits.age_s] if {
	is_number(input.solve_age_s)
	is_number(limits.age_s)
}

outcome := {
	true: picture_fresh,
	false: picture_old,
}

picture_fresh := {"effect": "pass", "code": "picture_fresh"}

picture_old := {"effect": "hold", "code": "picture_old"}
