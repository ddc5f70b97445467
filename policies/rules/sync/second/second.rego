# METADATA
# scope: package
# title: Enough pictures agree
# description: >-
#   Independent pictures still lacking: none unless a solve was held or refused since homing, or the pose is
#   candidates. Two solves agree within agree_arcmin or the scatter of the shift between them, which enters the
#   computation of the fact.
# related_resources:
#   - ref: limits/sync.yaml
#     description: how near two solves must lie to agree; it enters the fact
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: second_solve
#   codes:
#     pictures_agree: {fact: pictures_lacking_count, limit: 0}
#     picture_lacking:
#       fact: pictures_lacking_count
#       limit: 0
#       sentence: "Pictures of other fields that must agree before this sync: {value} more."
#       remedy: "Move by more than one field, expose, and solve blind."
#       need: [second_solve]
package rules.sync.second

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.pictures_lacking_count <= 0] if {
	is_number(input.pictures_lacking_count)
}

outcome := {
	true: pictures_agree,
	false: picture_lacking,
}

pictures_agree := {"effect": "pass", "code": "pictures_agree"}

picture_lacking := {"effect": "hold", "code": "picture_lacking"}
