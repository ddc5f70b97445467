# METADATA
# scope: package
# title: The solve lies where the pose expects it
# description: >-
#   The solved place against the direction that the measured pose gives at mid-exposure with what was learnt of the
#   mount's errors, never against belief. Each is weighed against the scatter that this leaves (squared Mahalanobis
#   distance, two degrees of freedom); the first after homing has a plain angle beside it. Beyond the deny limit, from every place where the rig may be, a
#   solve is taken as false whatever the scatter.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     first_near: {fact: expected_offset_arcmin, limit: first_arcmin}
#     solve_near: {fact: offset_d2, limit: d2}
#     first_far:
#       fact: expected_offset_arcmin
#       limit: first_arcmin
#       sentence: "This first solve lies {value} from where the pose says that the rig points; {limit} is the most: {about|no known mistake explains it}."
#       remedy: "Solve a second picture on another field; if it says the same, home the rig."
#       need: [second_solve, homing]
#     first_unlike:
#       fact: offset_d2
#       limit: d2
#       sentence: "This first solve lies {expected_offset_arcmin} from where earlier nights make it expected, which is {value} in squared sigmas; {limit} is the most: {about|no known mistake explains it}."
#       remedy: "If a clutch was opened, the tripod or the polar axis moved, or the payload changed, report that; if home is at other marks now, state it and how sure it is; else solve a second picture on another field."
#       need: [second_solve]
#     solve_far:
#       fact: offset_d2
#       limit: d2
#       sentence: "This solve lies {expected_offset_arcmin} from where it is expected, which is {value} in squared sigmas; {limit} is the most: {about|no known mistake explains it}."
#       remedy: "Solve a second picture on another field; if it says the same, see whether a clutch was opened, the tripod moved or the polar axis stands degrees off, report that, or home the rig (other marks: and how sure they are)."
#       need: [second_solve]
#     pose_in_doubt:
#       fact: expected_offset_arcmin
#       limit: deny_arcmin
#       sentence: "The rig may be in several places: this solve lies {value} from what the likeliest gives, of which {limit} is the most, but {expected_offset_sharp_arcmin} from what another gives."
#       remedy: "Move by more than one field and solve a second picture; if it says the same, the pose is known again."
#       need: [second_solve, homing]
#     solve_false:
#       fact: expected_offset_sharp_arcmin
#       limit: deny_arcmin
#       sentence: "This solve lies {value} from where the pose says that the rig points; beyond {limit} it is taken as false: {about|no known mistake explains it}."
#       remedy: "Do not sync; take another picture, and if it says the same, home the rig."
package rules.sync.expected

import data.limits.sync.expected as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[sharp <= limits.deny_arcmin][input.expected_offset_arcmin <= limits.deny_arcmin][input.sync_is_first][input.expected_offset_arcmin <= limits.first_arcmin][d2 <= limits.d2] if {
	# missing: counts as on the limit, so that it never denies; where the other is beyond it that holds
	sharp := object.get(input, "expected_offset_sharp_arcmin", limits.deny_arcmin)

	# missing: counts as far off
	d2 := object.get(input, "offset_d2", 1000000)
	is_number(sharp)
	is_number(d2)
	is_boolean(input.sync_is_first)
	is_number(input.expected_offset_arcmin)
	is_number(limits.first_arcmin)
	is_number(limits.d2)
	is_number(limits.deny_arcmin)
}

outcome := {
	true: {
		true: {
			true: {true: {true: first_near, false: first_unlike}, false: {true: first_far, false: first_far}},
			false: {true: {true: solve_near, false: solve_far}, false: {true: solve_near, false: solve_far}},
		},
		false: {
			true: {true: {true: pose_in_doubt, false: pose_in_doubt}, false: {true: pose_in_doubt, false: pose_in_doubt}},
			false: {true: {true: pose_in_doubt, false: pose_in_doubt}, false: {true: pose_in_doubt, false: pose_in_doubt}},
		},
	},
	false: {false: {
		true: {true: {true: solve_false, false: solve_false}, false: {true: solve_false, false: solve_false}},
		false: {true: {true: solve_false, false: solve_false}, false: {true: solve_false, false: solve_false}},
	}},
}

first_near := {"effect": "pass", "code": "first_near"}

first_unlike := {"effect": "hold", "code": "first_unlike"}

solve_near := {"effect": "pass", "code": "solve_near"}

first_far := {"effect": "hold", "code": "first_far"}

solve_far := {"effect": "hold", "code": "solve_far"}

pose_in_doubt := {"effect": "hold", "code": "pose_in_doubt"}

solve_false := {"effect": "deny", "code": "solve_false"}
