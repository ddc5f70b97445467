# METADATA
# scope: package
# title: The rig file is proven, or somebody is there
# description: >-
#   How well the described rig fitted the real one when it was last measured, and how long ago. A described rig is
#   a claim until checked: unproven, nothing moves unless a person is present.
# related_resources:
#   - ref: limits/rig.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, creep, home, park, flip]
#   if_missing: rig_proof
#   codes:
#     attended: {fact: attended}
#     proven: {fact: proof_residual_mm, limit: residual_mm}
#     proof_coarse:
#       fact: proof_residual_mm
#       limit: residual_mm
#       sentence: "Nobody is present, and the rig file was proven only to {value}; {limit} is the most."
#       remedy: "Measure gaps on the rig again and report how well the file fits, or name a person who is present."
#       need: [rig_proof, attendance]
#     proof_old:
#       fact: proof_age_days
#       limit: age_days
#       sentence: "Nobody is present, and the rig file was last proven {value} ago; {limit} is the most."
#       remedy: "Measure gaps on the rig again and report how well the file fits, or name a person who is present."
#       need: [rig_proof, attendance]
package rules.rig.proven

import data.limits.rig.proven as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.attended][residual <= limits.residual_mm][age <= limits.age_days] if {
	# missing: never proven, so beyond any limit; a person present makes up for it
	residual := object.get(input, "proof_residual_mm", 1000000)
	age := object.get(input, "proof_age_days", 1000000)
	is_number(residual)
	is_number(age)
	is_boolean(input.attended)
	is_number(limits.residual_mm)
	is_number(limits.age_days)
}

outcome := {
	true: {true: {true: attended, false: attended}, false: {true: attended, false: attended}},
	false: {true: {true: proven, false: proof_old}, false: {true: proof_coarse, false: proof_coarse}},
}

attended := {"effect": "pass", "code": "attended"}

proven := {"effect": "pass", "code": "proven"}

proof_coarse := {"effect": "hold", "code": "proof_coarse"}

proof_old := {"effect": "hold", "code": "proof_old"}
