# METADATA
# scope: package
# title: The pose is known
# description: >-
#   A motion that goes by what the mount believes can be bounded only from one known pose. Candidates (several
#   poses, all of which count) and an unknown pose hold; homing, retreat by axes and jogs, which are judged from
#   every candidate, do not come here.
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, track, park, flip]
#   if_missing: homing
#   codes:
#     pose_known: {fact: pose_state}
#     pose_candidates:
#       fact: pose_state
#       sentence: "The pose is only known as one of several candidates, so that nobody can say where this motion would end ({about|why, no sample told})."
#       remedy: "Home the rig, or solve a second picture on another field, with its angle; where neither is allowed or settles it, a person looks and states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG)."
#       need: [homing, second_solve]
#     axis_leans:
#       fact: polar_leans
#       sentence: "The pose is in doubt, so that nobody can say where this motion would end, and a leaning polar axis explains it: {about|which way, no sample told}."
#       remedy: "A person aligns the polar axis as far as that, and reports it (polar axis adjusted); then solve again."
#       need: [polar_alignment]
#     pose_unknown:
#       fact: pose_state
#       sentence: "The pose is {value}: nobody can say at which angles the axes stand ({about|nothing tells})."
#       remedy: "A person looks at the rig and states where its axes stand; homing by itself is held until then."
#       need: [attendance]
package rules.pose.known

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.pose_state == "known"][input.pose_state == "candidates"][input.polar_leans] if {
	is_string(input.pose_state)
	is_boolean(input.polar_leans)
}

outcome := {
	true: {false: {true: pose_known, false: pose_known}},
	false: {
		true: {true: axis_leans, false: pose_candidates},
		false: {true: pose_unknown, false: pose_unknown},
	},
}

pose_known := {"effect": "pass", "code": "pose_known"}

pose_candidates := {"effect": "hold", "code": "pose_candidates"}

axis_leans := {"effect": "hold", "code": "axis_leans"}

pose_unknown := {"effect": "hold", "code": "pose_unknown"}
