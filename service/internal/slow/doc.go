// Package slow is a second opinion on a whole answer, for tests: slow, obvious, and written from the design, not from the rooms that it is
// held against. It imports nothing of the service. The tests fill in its own plain structs and compare.
//
// It plays what a question may lead to: from a pose somewhere within its uncertainty, begun somewhere within the time that leave waits, by
// the mount's own clock, site and belief, in the manner of its axes, and looks at single poses on the way: a few of every question, and of
// what is allowed or in dispute so many that no part comes nearer between two than 3 mm, and the least of each rule near the worst. Distances of solids come from
// plain projections to and fro between them, of parts that touch those of what is left of them under a layer; a creep is looked at for how fast
// gaps that are too small shrink from one pose to the next; the sky comes from the almanac's short formulas. What a play shows is a witness: a rule that passed
// and should not is convicted by one pose. What no play shows is no proof: see Finding.
//
// Units: radians, seconds from the question's instant, millimetres in the rig frame (east, north, up); limits and spares in the unit of
// their rule. Axis angles are unreduced.
//
// Left out: the tape-measure form (parts are written out), meshes, boresights off the tube, pointing models, permits, and how samples make
// a pose: it is given.
package slow
