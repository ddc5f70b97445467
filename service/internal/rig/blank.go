package rig

import "strings"

// Blank returns an empty form for a kind of mount: every key in the order in which a person meets it, with a drawing in
// characters of what to measure. Read as it stands it is refused, with one fault for every line that is still to be filled in.
func Blank(k Kind) string {
	mount, drawing := blankFork, drawnFork+drawnTube
	if k == German {
		mount, drawing = blankBar, drawnGerman+drawnTube+drawnBar
	}
	line := "\n" + strings.Repeat(" ", commentAt) + "# "
	own := blankOwn(k)
	fill := strings.NewReplacer("KIND", string(k), "CHOICES", line+strings.Join(sideChoices(k), ";"+line), "APART", own.apart, "HEAD\n", own.head,
		"BETWEEN", own.between, "TOUCH", own.touch, "HOME", own.home, "REST\n", own.rest)
	return fill.Replace(blankHead + drawing + blankSupport + blankTube + mount + blankRest)
}

// formOwn is what a form says to one kind of mount alone.
type formOwn struct{ apart, head, between, touch, home, rest string }

func blankOwn(k Kind) formOwn {
	const parked = "# rests: [{name: parked, axes_deg: [0, 0]}]   # where it may be parked, counted as home is; without one nobody can ask for park\n"
	own := formOwn{apart: "toward where the tube points at zero; the arms then take up their places\n" +
		strings.Repeat(" ", commentAt) + "# about axis 1 and about axis 2, and all between", between: "; 0 between fork arms,\n" +
		strings.Repeat(" ", commentAt) + "# positive: to the right of who looks along the upright tube", touch: "left arm, finder", home: "tube at the meridian on the equator", rest: parked}
	switch k {
	case German:
		own = formOwn{
			apart: "if axis 2 passes on the left of who looks along the tube at home", touch: "mount body, counterweight bar", home: "weights down, tube at the pole", rest: parked,
			head: "  # head_diameter_mm:               # thickness of the mount's body, if it is to be modelled\n",
		}
	case AltAzimuth: // seen by a person home is known to ±3°, and sky/floor is -3°: at [0, 0] the overrun would be too much
		own.home = "tube north, level"
		own.rest = "# rests: [{name: parked, axes_deg: [0, 5]}]   # where it may be parked, counted as home is; without one nobody can ask for park.\n" +
			"                                    # Some degrees up: where a person finds home by eye, no motion to level is allowed\n"
	case Fork:
	}
	return own
}

// commentAt is the column at which the form's comments begin.
const commentAt = 36

// sideChoices says who may choose the side and what each choice costs, the ordinary one of a kind first.
func sideChoices(k Kind) []string {
	all := []string{
		"hour angle: the mount, by which half of the sky the target is in: most do",
		"asker: the program that asks names the side, and the mount obeys",
		"any: the mount, not known how: both are judged, so that most slews are refused",
	}
	if k == German {
		return all
	}
	all[0] = "hour angle: the mount, by which half of the sky the target is in"
	all[2] = "any: the mount, not known how: both are judged, so that what is not clear over the top is refused"
	return append([]string{"first only: none, it never turns over the top: most do not"}, all...)
}

const blankHead = `# A rig file. Fill in what stands empty; lengths in millimetres, angles in degrees, azimuths from north through east.
# A length may carry its reading error: 1300 ± 2. Take a line away where it says that you may, never leave it empty.

rig:                                # its id: small letters, digits, hyphens
title:                              # a name for people
kind: KIND

site:
  latitude_deg:                     # north positive
  longitude_deg:                    # east positive
  height_m:

# polar_error: {east_deg: 0.3, up_deg: -0.2}   # if known to be off: its upper end less where it should be, east along the horizon

`

const drawnGerman = `# The mount from the side, at home: weights down, tube above.
#
#            crossing of the axes  x                  ^
#                                  :                  |
#       crossing_north_of_hub      :<----->|          |
#                                  :    +--+--+ -- hub_top
#                                       |  |  |       |
#                                       +--+--+ -- hub_bottom
#                     leg_top_radius   /|->|   \      | floor_to_crossing
#                 at leg_top_height   / |  |    \     |
#                                    /  |  |     \    |
#      floor _______________________/___|__|______\___v
#                                   |<---->|  leg_foot_radius
#
`

const drawnFork = `# The fork, seen along the tube.
#
#            |<- arm_gap ->|
#        +---+             +---+   ^ arm_beyond_axis2
#        |   |    tube     |   |   v
#   - - -|- -|- - - x - - -|- -|- - - axis 2, crossing   ^
#        |   |             |   |                         | arm_length
#        |   |             |   |  arm_width: into the    |
#        |   |             |   |  paper; arm_thickness:  |
#     +--+---+-------------+---+--+  across  ^           v
#     |           base            |          | base_height
#     +---------------------------+          v
#     |<---- base_diameter ------>|
#
# floor_to_crossing is the height of x above the floor; crossing_north_of_hub how far north of hub or pier x stands.
#
`

const drawnTube = `# The telescope from the side. All reaches count from axis 2 (x), the camera's and the back's backward.
#
#       |<--- back_reach ---->|<---- front_reach ---->|
#            |< camera_from ->|< shield_from >|
#       +----+                |               +-------+  ^
#       |    +----------------+---------------+       |  |
#   - - | - -| - - - - - - - -|- - - - - - - -| - - - |  | shield_diameter
#       |    +----------------+---------------+       |  |
#       +----+                |               +-------+  v
#       camera_radius: from the middle line to what stands out farthest, turned all the way round
#
`

const drawnBar = `# Below the tube, along axis 2:
#
#       tube  - - - - - - - - | - - - - - - -
#                             |  ^
#                             |  | crossing_to_tube
#                             |  v
#                             x
#                             |  ^ weights_from          ^
#                             |  v                       | weights_to
#                          +--+--+                       |
#                          |  |->| weights_radius        |
#                          +-----+                       v
#
`

const blankSupport = `tape:
  floor_to_crossing_mm:             # floor up to where the axes cross, or to axis 1 where axis 2 passes it
  crossing_north_of_hub_mm:         # from the middle of hub or pier to the same place; 0: above it; negative: south
  # crossing_east_of_hub_mm: 0      # the same toward east, if it is not 0
  # axes_apart_mm: 0                # if the axes do not cross: by how much they miss each other, positive
                                    # APART
  tripod:                           # or, for a pier, this block instead: pier: with diameter_mm and height_mm
    hub_diameter_mm:
    hub_bottom_mm:
    hub_top_mm:
    leg_azimuths_deg:               # which way the legs point, as [0, 120, 240]
    leg_top_radius_mm:              # from the middle line of the hub to the middle of a leg, at the top
    leg_top_height_mm:              # the height of that place
    leg_foot_radius_mm:             # from below the hub to the middle of a foot
    leg_diameter_mm:                # at the thickest place
HEAD
`

const blankTube = `  crossing_to_tube_mm:              # along axis 2, crossing to the tube's middle lineBETWEEN
  tube_diameter_mm:                 # the widest place: rings, rail and finder too
  front_reach_mm:                   # to the very front, shield out
  shield_diameter_mm:               # no shield: take both lines away
  shield_from_mm:
  back_reach_mm:                    # to the very end: focuser out, camera, plugs
  camera_radius_mm:                 # nothing wider than the tube there: take both lines away
  camera_from_mm:
`

const blankBar = `  bar_diameter_mm:
  weights_radius_mm:                # the widest weight
  weights_from_mm:                  # crossing to the near side of the weights, at their nearest place
  weights_to_mm:                    # crossing to the end of weights or bar, at their farthest place
`

const blankFork = `  fork:
    arm_length_mm:
    arm_beyond_axis2_mm:
    arm_gap_mm:
    arm_thickness_mm:
    arm_width_mm:
    base_diameter_mm:
    base_height_mm:
`

const blankRest = `  # floor: yes                      # no: nothing stands below, as on a tall pier's top
  # walls: []                       # each: from_mm: [east, north], to_mm: [east, north], height_mm, thickness_mm

# always_touch: [[TOUCH]]   # pairs of parts that touch at home with nothing wrong: they are never judged

home_deg: [0, 0]                    # HOME is [0, 0]
REST
travel_from_home:
  axis1_deg:                        # lowest and highest, as [-95, 95]
  axis2_deg:

motion:
  axes_move: any order              # not known: everything that both axes can reach between start and end has to be clear, so that
                                    # slews near legs are refused more often. Watch one slew and write what you see: independent
                                    # (both at once, each at its own speed: most do), straight, axis 1 first, axis 2 first
  rate_deg_per_s:                   # its slewing rates, as [3, 3]
  acceleration_deg_per_s2:          # of axis 1 and axis 2, as [2, 2]
  overrun_deg:                      # by how much each may run past its target before it settles, as [0.1, 0.1]
  way_round: unknown                # within travel: never through the end of travel; shortest; unknown

mount:
  keeps_sync_on: unknown            # axes, sky, model, none; unknown: both are judged
  side_chosen_by:                   # who says on which side the tube goes to a target; choose:CHOICES
  flips_while_tracking:             # yes or no; yes needs flips_at_deg: the hour angle
  # further, if true: side_is_sensed, map_includes_refraction, counts_syncs, nobody_else_syncs, tells_restarts, holds_unpowered: yes
  # and if it tells none: tells_sidereal_time: no, tells_site: no

pose_sources: []                    # none: reckoned, less sure with each motion, so that you home often. Else each:
                                    # kind: axis encoder, motor count, unsynced belief; clutch_side: axis, motor; sigma_deg: [a, b]

homing:
  by: person                        # sensor, person, belief

if_asker_dies:
  stops_it: nothing                 # tracking is then held unless nothing would touch within 24 h, a person beside it or not. Better:
                                    # mount limit (axis, limit_deg, and last_seen: the day you saw it act), power relay (after_s)

# optics: [{name: main, pixel_arcsec: 1.5, field_long_deg: 1.8, field_short_deg: 1.2}]   # what is left out is learnt from solves
solver_lacks: []                    # what your solver never tells: scale, rotation, mirror, matched, residual, radius. One that is
                                    # neither told nor listed here holds every sync

has_no: [drag, roof, neighbours]    # what there is none of, and what no answer thinks of. No rule judges any of them yet: a file that
                                    # leaves one out, as [] leaves all, does not load

end:                                # the id again: the last line
`
