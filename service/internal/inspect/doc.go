// Package inspect looks at a rig that loads for what a person should look at again and only a proof over all of its axis space shows:
// travel wider than what is clear, parts that nothing comes near, margins smaller than the rig's own uncertainty. What the file alone shows
// stands in rig.Rig.Notices.
//
// Lengths are millimetres, angles of the words degrees, those of travel counted from home as the file counts them. All that is said to be
// clear or out of reach is proven (reach); what the work does not suffice for is said to be not known, or of a part nothing is said.
package inspect
