// Package draw says and draws for people what was worked out: how far the axes of a rig may turn (Room), and the map of its axis space (Map,
// an SVG picture).
//
// Angles are axis angles in degrees from the rig's zero, unreduced; lengths millimetres. Pictures tell black from white by shade and hatching
// alone, and need no fonts but the reader's own. Nothing here decides anything.
package draw
