# METADATA
# scope: package
# title: A creep leads out
# description: >-
#   How much, per degree turned, any gap shrinks that is smaller than the two parts must keep. A creep may start
#   inside a margin, in contact even, and it ends there if it does not go far enough; but along it no such gap may
#   shrink, from wherever the rig may stand. One that shrinks even from the best known pose is denied.
# related_resources:
#   - ref: limits/clear.yaml
#     description: what counts as no shrinking
# schemas:
#   - input: schema.facts
# custom:
#   actions: [creep]
#   if_missing: sample
#   codes:
#     opens: {fact: closing_mm_per_deg, limit: closing_mm_per_deg}
#     may_close:
#       fact: closing_mm_per_deg
#       limit: closing_mm_per_deg
#       sentence: "With the uncertainty of the pose counted, {about|two parts}, too near already, could come nearer by {value}; {limit} is the most."
#       remedy: "Creep the other way, or with the other axis, or have a person state where the axes stand."
#       need: [homing]
#     closes:
#       fact: closing_sharp_mm_per_deg
#       limit: closing_mm_per_deg
#       sentence: "On this way {about|two parts}, too near already, would come nearer by {value}; {limit} is the most."
#       remedy: "Creep the other way, or with the other axis."
package rules.clear.opens

import data.limits.clear.opens as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.closing_mm_per_deg <= limits.closing_mm_per_deg][sharp <= limits.closing_mm_per_deg] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "closing_sharp_mm_per_deg", limits.closing_mm_per_deg)
	is_number(sharp)
	is_number(input.closing_mm_per_deg)
	is_number(limits.closing_mm_per_deg)
}

outcome := {
	true: {true: opens, false: opens},
	false: {true: may_close, false: closes},
}

opens := {"effect": "pass", "code": "opens"}

may_close := {"effect": "hold", "code": "may_close"}

closes := {"effect": "deny", "code": "closes"}
