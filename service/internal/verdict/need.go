package verdict

import "slices"

// NeedKind says what would end a hold.
type NeedKind string

// Kinds of need.
const (
	NeedSample       NeedKind = "sample"          // a sample that is fresh, or has what the findings miss
	NeedHoming       NeedKind = "homing"          // homing
	NeedSecondSolve  NeedKind = "second_solve"    // a second, independent solve
	NeedPermitEnd    NeedKind = "permit_end"      // an open permit to end, or to be named as replaced
	NeedClock        NeedKind = "clock"           // a clock, or the mount's sidereal time, set right
	NeedSite         NeedKind = "site"            // the mount's site set right
	NeedRelease      NeedKind = "release"         // a named person to release a lock
	NeedRigProof     NeedKind = "rig_proof"       // the rig checked against the real one
	NeedAttendance   NeedKind = "attendance"      // somebody present
	NeedSurroundings NeedKind = "surroundings"    // another rig, the roof
	NeedRepair       NeedKind = "repair"          // a person to repair rules, limits, rig file or record
	NeedTime         NeedKind = "time"            // more working time: ask again
	NeedPolar        NeedKind = "polar_alignment" // the polar axis to be aligned
)

// NeedKinds returns every kind.
func NeedKinds() []NeedKind {
	return []NeedKind{NeedSample, NeedHoming, NeedSecondSolve, NeedPermitEnd, NeedClock, NeedSite, NeedRelease, NeedRigProof, NeedAttendance, NeedSurroundings, NeedRepair, NeedTime, NeedPolar}
}

// Known tells whether the kind is one that clients can act on.
func (k NeedKind) Known() bool { return slices.Contains(NeedKinds(), k) }

// Need is one thing that would end a hold.
type Need struct {
	Kind     NeedKind `json:"kind"`
	Sentence string   `json:"sentence"`        // for a person
	About    string   `json:"about,omitempty"` // whom or what: a lock id, permit id, rig, rule
}
