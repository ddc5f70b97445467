# METADATA
# scope: package
# title: The solve is good
# description: >-
#   Stars matched, how well they fit, and how high the picture was taken. Near the ground refraction bends every
#   picture. A picture through thin cloud, with few stars, is good too where it lies just where the pointing model
#   expects it, once that has settled or knows to some minutes of arc where the tube looks.
# related_resources:
#   - ref: limits/solve.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     solve_good: {fact: matched_count, limit: matched}
#     few_but_expected: {fact: matched_count, limit: matched_expected}
#     few_stars:
#       fact: matched_count
#       limit: matched
#       sentence: "Only {value} stars were matched; {limit} are the least."
#       remedy: "Expose longer, or take another field."
#       need: [second_solve]
#     fit_poor:
#       fact: residual_ratio
#       limit: residual_ratio
#       sentence: "The stars fit to {value} of a pixel; {limit} is the most."
#       remedy: "Focus, see that the mount tracks, and take another picture."
#       need: [second_solve]
#     picture_low:
#       fact: solve_altitude_deg
#       limit: altitude_deg
#       sentence: "The picture was taken at {value} of altitude; {limit} is the least."
#       remedy: "Take a picture higher up."
#       need: [second_solve]
package rules.solve.quality

import data.limits.solve.quality as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.matched_count >= limits.matched][input.matched_count >= limits.matched_expected][input.solve_expected][input.residual_ratio <= limits.residual_ratio][input.solve_altitude_deg >= limits.altitude_deg] if {
	is_number(input.matched_count)
	is_boolean(input.solve_expected)
	is_number(input.residual_ratio)
	is_number(input.solve_altitude_deg)
	is_number(limits.matched)
	is_number(limits.matched_expected)
	is_number(limits.residual_ratio)
	is_number(limits.altitude_deg)
}

outcome := {
	true: {
		true: {
			true: {true: {true: solve_good, false: picture_low}, false: {true: fit_poor, false: fit_poor}},
			false: {true: {true: solve_good, false: picture_low}, false: {true: fit_poor, false: fit_poor}},
		},
		false: {
			true: {true: {true: solve_good, false: picture_low}, false: {true: fit_poor, false: fit_poor}},
			false: {true: {true: solve_good, false: picture_low}, false: {true: fit_poor, false: fit_poor}},
		},
	},
	false: {
		true: {
			true: {true: {true: few_but_expected, false: picture_low}, false: {true: fit_poor, false: fit_poor}},
			false: {true: {true: few_stars, false: few_stars}, false: {true: few_stars, false: few_stars}},
		},
		false: {
			true: {true: {true: few_stars, false: few_stars}, false: {true: few_stars, false: few_stars}},
			false: {true: {true: few_stars, false: few_stars}, false: {true: few_stars, false: few_stars}},
		},
	},
}

few_but_expected := {"effect": "pass", "code": "few_but_expected"}

solve_good := {"effect": "pass", "code": "solve_good"}

few_stars := {"effect": "hold", "code": "few_stars"}

fit_poor := {"effect": "hold", "code": "fit_poor"}

picture_low := {"effect": "hold", "code": "picture_low"}
