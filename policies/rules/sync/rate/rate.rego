# METADATA
# scope: package
# title: Syncs are few
# description: >-
#   Syncs within ten minutes, this one included. A program that syncs in a loop has lost its way.
# related_resources:
#   - ref: limits/sync.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [sync]
#   if_missing: time
#   codes:
#     syncs_few: {fact: sync_10min_count, limit: per_10min}
#     syncs_many:
#       fact: sync_10min_count
#       limit: per_10min
#       sentence: "Syncs within ten minutes: {value}; {limit} are the most."
#       remedy: "Wait some minutes, and see why a program syncs so often."
#       need: [time]
package rules.sync.rate

import data.limits.sync.rate as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.sync_10min_count <= limits.per_10min] if {
	is_number(input.sync_10min_count)
	is_number(limits.per_10min)
}

outcome := {
	true: syncs_few,
	false: syncs_many,
}

syncs_few := {"effect": "pass", "code": "syncs_few"}

syncs_many := {"effect": "hold", "code": "syncs_many"}
