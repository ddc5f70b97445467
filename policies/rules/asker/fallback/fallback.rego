# METADATA
# scope: package
# title: Something stops the mount if the asker dies
# description: >-
#   The time between the instant at which the declared stop (a limit in the mount, a power relay, the end of the
#   motion itself) acts and the first contact, worst over all ends.
# related_resources:
#   - ref: limits/asker.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, creep, home, park, flip]
#   if_missing: sample
#   codes:
#     stop_in_time: {fact: unstopped_spare_s, limit: unstopped_spare_s}
#     nothing_stops:
#       fact: stop_acts
#       sentence: "If the asking program died nothing would stop the mount before its parts touch: {about|no stop is known}."
#       remedy: "Declare in the rig file what stops it (a limit in the mount, a power relay), or ask for a motion that ends by itself."
#       need: [repair]
#     stop_too_late:
#       fact: unstopped_spare_s
#       limit: unstopped_spare_s
#       sentence: "If the asking program died, what then stops the mount ({about|nothing}) would come {miss} too late, the spare of {limit} included."
#       remedy: "Set a limit in the mount that stops it earlier and declare it, or have a relay cut its power, which stops it wherever it is; or ask for a motion that ends sooner."
#       need: [repair]
package rules.asker.fallback

import data.limits.asker.fallback as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.unstopped_spare_s >= limits.unstopped_spare_s][input.stop_acts] if {
	is_boolean(input.stop_acts)
	is_number(input.unstopped_spare_s)
	is_number(limits.unstopped_spare_s)
}

outcome := {
	true: {true: stop_in_time, false: stop_in_time},
	false: {true: stop_too_late, false: nothing_stops},
}

stop_in_time := {"effect": "pass", "code": "stop_in_time"}

nothing_stops := {"effect": "hold", "code": "nothing_stops"}

stop_too_late := {"effect": "hold", "code": "stop_too_late"}
