# METADATA
# scope: package
# title: The mount knows its time and place
# description: >-
#   What the mount's own clock and site do to its axes, against ours: with a longitude of the wrong sign a lawful
#   target lies tens of degrees away.
# related_resources:
#   - ref: limits/mount.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, sync, track, park, flip]
#   when: {slew: [sky_target]}
#   if_missing: clock
#   codes:
#     map_right: {fact: mount_map_error_deg, limit: axis_deg}
#     map_wrong:
#       fact: mount_map_error_deg
#       limit: axis_deg
#       sentence: "By its own clock and site the mount would turn its axes {value} wrong; {limit} is the most ({about|look at both})."
#       remedy: "Set the mount's time, longitude and latitude right."
#       need: [clock, site]
package rules.mount.map

import data.limits.mount.map as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.mount_map_error_deg <= limits.axis_deg] if {
	is_number(input.mount_map_error_deg)
	is_number(limits.axis_deg)
}

outcome := {
	true: map_right,
	false: map_wrong,
}

map_right := {"effect": "pass", "code": "map_right"}

map_wrong := {"effect": "hold", "code": "map_wrong"}
