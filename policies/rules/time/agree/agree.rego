# METADATA
# scope: package
# title: The clocks agree
# description: >-
#   How far the asker's clock is from ours, and how well ours is known. The sky turns a degree in four minutes:
#   with a wrong clock every limit over the ground is wrong.
# related_resources:
#   - ref: limits/time.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, sync, track, park, flip]
#   when: {slew: [sky_target]}
#   if_missing: clock
#   codes:
#     clocks_agree: {fact: clock_skew_s, limit: skew_s}
#     clocks_differ:
#       fact: clock_skew_s
#       limit: skew_s
#       sentence: "The asker's clock and the clock here differ by {value}; {limit} is the most ({about|set one of them})."
#       remedy: "Set both clocks by the network or by satellite."
#       need: [clock]
#     time_doubtful:
#       fact: clock_error_s
#       limit: error_s
#       sentence: "The time here is known only to {value}; {limit} is the most."
#       remedy: "Let this machine's clock synchronise, or start the service with a person's word for it: serve --clock-within SECONDS."
#       need: [clock]
package rules.time.agree

import data.limits.time.agree as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.clock_skew_s <= limits.skew_s][input.clock_error_s <= limits.error_s] if {
	is_number(input.clock_skew_s)
	is_number(input.clock_error_s)
	is_number(limits.skew_s)
	is_number(limits.error_s)
}

outcome := {
	true: {true: clocks_agree, false: time_doubtful},
	false: {true: clocks_differ, false: clocks_differ},
}

clocks_agree := {"effect": "pass", "code": "clocks_agree"}

clocks_differ := {"effect": "hold", "code": "clocks_differ"}

time_doubtful := {"effect": "hold", "code": "time_doubtful"}
