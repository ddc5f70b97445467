// Package practice is the practice rig: a simulated mount with switchable faults, for integrators, the tests and the demo.
//
// The rig, its place and everything that happens to it are invented, and its file says so.
package practice

import _ "embed"

//go:embed heron.yaml
var heron []byte

// HeronFile is the rig file of the practice rig "heron".
func HeronFile() []byte { return append([]byte(nil), heron...) }
