# METADATA
# scope: package
# title: Solves do not walk away
# description: >-
#   How far the solve lies from where the pointing model expected it when it had become sure, and by how much solves
#   have been off to one side, one after the other. Many small offsets that each pass may not carry belief away. A
#   shift on which two pictures agree counts as none, within a budget of its own, which enters the computation.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     no_walk: {fact: walk_sigma, limit: walk_sigma}
#     walked:
#       fact: walk_sigma
#       limit: walk_sigma
#       sentence: "This solve lies {value} from where the settled pointing expects it; {limit} is the most: small offsets have added up, or the mount moved."
#       remedy: "If a clutch was opened, the tripod or the polar axis moved, or the payload changed, report that; where a person homes the rig by eye, see that it is at home and state how sure that is (tell RIG homed … --sigma DEGREES); else see whether something slips, and home the rig."
#       need: [homing]
#     one_sided:
#       fact: run_sigma
#       limit: run_sigma
#       sentence: "Solve after solve lies off to the same side, {value} in all; {limit} is the most, and chance does not do that."
#       remedy: "If a clutch was opened, the tripod or the polar axis moved, or the payload changed, report that; if home is at other marks now, state it and how sure it is; else see whether something slips, and home the rig."
#       need: [homing]
#     drifting:
#       fact: drift_sigma
#       limit: drift_sigma
#       sentence: "Picture after picture the solves shift to one side and the axes do not turn so, {value} in all; {limit} is the most."
#       remedy: "Either something slips slowly or the solver is being misled. Take more pictures, forty seconds apart: four that shift as the axes turn, and lie again as those accepted before, end this. If the tripod or the payload moved, report that; else home the rig, see what slips, and look at the pictures."
#       need: [second_solve]
package rules.sync.walk

import data.limits.sync.walk as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.walk_sigma <= limits.walk_sigma][input.run_sigma <= limits.run_sigma][input.drift_sigma <= limits.drift_sigma] if {
	is_number(input.walk_sigma)
	is_number(input.run_sigma)
	is_number(input.drift_sigma)
	is_number(limits.walk_sigma)
	is_number(limits.run_sigma)
	is_number(limits.drift_sigma)
}

outcome := {
	true: {
		true: {true: no_walk, false: drifting},
		false: {true: one_sided, false: one_sided},
	},
	false: {
		true: {true: walked, false: walked},
		false: {true: walked, false: walked},
	},
}

no_walk := {"effect": "pass", "code": "no_walk"}

walked := {"effect": "hold", "code": "walked"}

one_sided := {"effect": "hold", "code": "one_sided"}

drifting := {"effect": "hold", "code": "drifting"}
