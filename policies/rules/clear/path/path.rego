# METADATA
# scope: package
# title: The way is clear
# description: >-
#   The proven clearance of every pair of parts along every way to every end, less what the pair requires. A way
#   that fails even from the best known pose is denied; one that fails only with the uncertainty of the pose
#   counted is held. The margins part_mm and general_mm enter the computation of the fact.
# related_resources:
#   - ref: limits/clear.yaml
#     description: the margins that enter the fact
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, track, jog, home, park, flip]
#   if_missing: sample
#   codes:
#     way_clear: {fact: clearance_spare_mm, limit: 0}
#     way_tight:
#       fact: clearance_spare_mm
#       limit: 0
#       sentence: "With the uncertainty of the pose counted, {about|two parts} could come {miss} nearer than they may on this way."
#       remedy: "Home the rig: that sharpens the pose."
#       remedies:
#         retreat: "Home the rig where a sensor does that; else a person states where the axes stand (tell RIG homed … --axis1 DEG --axis2 DEG), or turns them home by hand and states that."
#         jog: "Home the rig: that sharpens the pose. Where that is held too, jog less far, the other way or by the other axis, creep (ask RIG creep …), or have a person state where the axes stand."
#         home: "Jog away from there first, creep where a jog is held too (ask RIG creep …), or have a person state where the axes stand."
#       need: [homing]
#       homed:
#         sharp: clearance_sharp_spare_mm
#         remedy: "Choose another way, or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#         remedies:
#           jog: "Jog less far, the other way or by the other axis, creep (ask RIG creep …), or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES): homing would leave them as unsure."
#           home: "Jog away from there first, creep where a jog is held too (ask RIG creep …), or have a person state more exactly where the axes stand (tell RIG homed … --sigma DEGREES)."
#         need: [attendance]
#     way_blocked:
#       fact: clearance_sharp_spare_mm
#       limit: 0
#       sentence: "On this way {about|two parts} would come {miss} nearer than they may."
#       remedy: "Choose another target, the other side if the mount uses both, or a way round."
#       remedies:
#         retreat: "Choose another place of rest, or jog clear first (out of a margin: creep)."
#         track: "Ask for a shorter track, or flip first if the mount uses both sides."
#         jog: "Jog the other way, or less far."
#         home: "Home with the axes in another order, or jog clear first (out of a margin: creep)."
#         park: "Choose another place of rest, or home instead."
#         flip: "Ask again with the target nearer the meridian or past it, slew to another target instead, or stop tracking."
package rules.clear.path

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.clearance_spare_mm >= 0][sharp >= 0] if {
	# missing: counts as on the limit, so that it holds and never denies
	sharp := object.get(input, "clearance_sharp_spare_mm", 0)
	is_number(sharp)
	is_number(input.clearance_spare_mm)
}

outcome := {
	true: {true: way_clear, false: way_clear},
	false: {true: way_tight, false: way_blocked},
}

way_clear := {"effect": "pass", "code": "way_clear"}

way_tight := {"effect": "hold", "code": "way_tight"}

way_blocked := {"effect": "deny", "code": "way_blocked"}
