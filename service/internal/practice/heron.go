// Package practice is the practice rig: a simulated mount and its camera, with switchable faults, for integrators, the tests and the
// demo.
//
// The mount turns its axes by the rates and accelerations of its rig file and knows where they truly are; beside that it has what a
// real one has (counts that may be wrong, a belief that syncs move, a clock, a site, a side) and goes by that. Angles are mechanical
// axis angles in the rig frame (design, section 4); places on the sky are of date for the mount, ICRS for the camera. Every instant
// comes in with the call, so a night may be played in a second.
//
// It judges nothing, asks nobody and stops for nobody. It is built as its file says unless Errors are set. Left out: inertia when it is told
// to stop, an exposure that trails, play that tracking takes up. The rig, its place and everything that happens to it are invented, and its file says so.
package practice

import _ "embed"

//go:embed heron.yaml
var heron []byte

// HeronFile is the rig file of the practice rig "heron".
func HeronFile() []byte { return append([]byte(nil), heron...) }
