// Package reach proves how near the parts of a rig come to each other while its axes move.
//
// A Way is a set of poses that a motion sweeps: lines and curves in axis space, or a whole rectangle where the order of the axes
// is not known. A Prover takes one rig.Scene and bounds, over every pose of a way and every pose within a spread of it, the spare:
// the gap of a pair of bodies less the gap that the pair requires. The bound is a proof, not a sampling: axis space is cut into
// cells until what is proven of the cells covers the way. Beside the proven bound stands the smallest spare seen at a pose that
// belongs to the set, so that the truth lies between the two.
//
// Axis angles are radians from the rig's zero, unreduced; lengths millimetres in the rig frame; times seconds from the start of
// the way. Work is bounded by a Budget of cells, never by a clock: what is not settled within it is undecided, which is no pass.
//
// A Shelf keeps the provers of a rig, with what was once proven of each cell of its axis space: most of an ordinary way is settled by
// looking there. That is worked out from scene and cell alone, so an answer is the same whatever was asked before.
//
// It does not know where a mount will go, nor which poses are likely: those come in as ways and spreads. Left out are bending and
// play of the parts (the margins hold those) and the stopping distance (the watch holds that).
package reach
