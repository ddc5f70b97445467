// Package solid holds convex solids in the frame of a rig and the distance between them as a proven interval.
//
// It owns spheres, capsules, cylinders, cone frusta, discs, boxes and convex hulls of points, which may be grown by a radius; all
// lengths are millimetres and all directions are written in the rig frame. A solid is an immutable value, made by a constructor
// that checks everything and placed anew by Moved.
//
// Distance returns [Lower, Upper] around the signed separation: the Euclidean distance where the solids are apart, minus the
// penetration depth (the shortest shift that parts them) where they overlap. Lower never exceeds it and Upper is never below
// it, rounding included; proofs use Lower. Flat and zero-size solids (a point, a needle, a disc, a rectangle) are solids.
//
// It does not know meshes, motions over time, margins, names of parts or which pairs may touch: those are the rooms above.
// A solid is exactly what was given: sag, play and measuring error of the real part are the caller's margin.
package solid
