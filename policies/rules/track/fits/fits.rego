# METADATA
# scope: package
# title: The tracking asked for fits
# description: >-
#   The time to the first limit that tracking reaches (travel, horizon, contact, Sun), less the time asked for.
# related_resources:
#   - ref: limits/track.yaml
#     description: the limits, and why they stand where they do
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, flip]
#   when: {slew: [tracks], retreat: [tracks], jog: [tracks], flip: [tracks]}
#   if_missing: sample
#   codes:
#     track_fits: {fact: track_spare_s, limit: spare_s}
#     track_tight:
#       fact: track_spare_s
#       limit: spare_s
#       sentence: "With the uncertainty of the pose counted, this track is {miss} too long, the spare of {limit} included: {about|a limit}."
#       remedy: "Ask for a shorter track, or home the rig to sharpen the pose."
#       need: [homing]
#     track_too_long:
#       fact: track_spare_sharp_s
#       limit: spare_s
#       sentence: "This track is {miss} too long, the spare of {limit} included: {about|a limit}."
#       remedy: "Ask for a track that is shorter by that."
#       remedies:
#         track: "Ask for a track that is shorter by that. Where that leaves nothing, slew elsewhere, or flip first if the mount uses both sides."
#         slew: "Ask for a track that is shorter by that, or the other side if the mount uses both. Where that leaves nothing, choose another target."
package rules.track.fits

import data.limits.track.fits as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.track_spare_s >= limits.spare_s][sharp >= limits.spare_s] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "track_spare_sharp_s", limits.spare_s)
	is_number(sharp)
	is_number(input.track_spare_s)
	is_number(limits.spare_s)
}

outcome := {
	true: {true: track_fits, false: track_fits},
	false: {true: track_tight, false: track_too_long},
}

track_fits := {"effect": "pass", "code": "track_fits"}

track_tight := {"effect": "hold", "code": "track_tight"}

track_too_long := {"effect": "deny", "code": "track_too_long"}
