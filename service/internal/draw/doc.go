// Package draw says and draws for people what was worked out: how far the axes of a rig may turn (Room), the map of its axis space (Map), and
// the rig itself at a pose, with what is nearest there (View). Pictures are SVG.
//
// Angles are axis angles in degrees from the rig's zero, unreduced; lengths millimetres in the rig frame. Pictures tell black from white by
// shade and hatching alone, and need no fonts but the reader's own. Nothing here decides anything, and what covers what in a picture is no proof.
package draw
