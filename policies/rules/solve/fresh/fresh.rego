# METADATA
# scope: package
# title: The picture is fresh
# description: >-
#   The time since mid-exposure. An old picture says where the rig pointed then, and so does one that was taken before
#   the last motion. A solve that says the same place of
#   the sky as one before, though the tube moved since, is of an old picture under another name, or of a pattern on
#   the sensor.
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
#     repeated:
#       fact: picture_repeated
#       sentence: "This solve says the very place of an earlier one, {about|though the tube moved since}: it is an old picture under another name, or a pattern on the sensor."
#       remedy: "Take a new picture, and solve it blind; calibrate the camera if it happens again."
#       need: [second_solve]
#     left:
#       fact: picture_left
#       sentence: "The picture is older than the last motion: the tube moved {about|on} since it was taken."
#       remedy: "Take and solve a new picture."
#       need: [second_solve]
package rules.solve.fresh

import data.limits.solve.fresh as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.solve_age_s <= limits.age_s][input.picture_repeated][input.picture_left] if {
	is_boolean(input.picture_repeated)
	is_boolean(input.picture_left)
	is_number(input.solve_age_s)
	is_number(limits.age_s)
}

outcome := {
	true: {
		true: {true: repeated, false: repeated},
		false: {true: left, false: picture_fresh},
	},
	false: {
		true: {true: picture_old, false: picture_old},
		false: {true: picture_old, false: picture_old},
	},
}

picture_fresh := {"effect": "pass", "code": "picture_fresh"}

picture_old := {"effect": "hold", "code": "picture_old"}

repeated := {"effect": "hold", "code": "repeated"}

left := {"effect": "hold", "code": "left"}
