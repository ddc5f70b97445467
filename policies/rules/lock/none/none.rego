# METADATA
# scope: package
# title: Nothing is locked
# description: >-
#   Locks on the rig or on all rigs. Only a named person releases them.
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, sync, track, jog, creep, home, park, flip]
#   if_missing: repair
#   codes:
#     no_lock: {fact: lock_count, limit: 0}
#     locked:
#       fact: lock_count
#       limit: 0
#       sentence: "This rig is locked ({about|see the list of locks})."
#       remedy: "A named person looks at the rig and releases what locks it, with a reason."
#       need: [release]
package rules.lock.none

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.lock_count <= 0] if {
	is_number(input.lock_count)
}

outcome := {
	true: no_lock,
	false: locked,
}

no_lock := {"effect": "pass", "code": "no_lock"}

locked := {"effect": "hold", "code": "locked"}
