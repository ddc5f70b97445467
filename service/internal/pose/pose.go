package pose

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// World is what does not change with a sample: the rig, the sky, and the limits that bear on its pose.
type World struct {
	Rig    *rig.Rig
	Moment func(time.Time) (*sky.Moment, error) // the sky at an instant; an error costs what needs belief
	// StartTolerance is the limit permit start_tolerance_deg; 0 stands for its default, 0.5°.
	StartTolerance unit.Angle
}

// Kind says what a notice is about. The list is closed: doubtful words become record entries and wake people.
type Kind string

// Kinds of notice.
const (
	Ignored         Kind = "sample ignored"         // late, doubled with other content, from the future, from another homing
	Gap             Kind = "samples missing"        // sequence numbers skipped, or begun anew
	Restarted       Kind = "restarted"              // a new run mark, or signs of a restart
	Demoted         Kind = "source demoted"         // a source moved with a sync
	UnaskedSync     Kind = "unasked sync"           // belief jumped without leave
	UnaskedMotion   Kind = "unasked motion"         // the axes moved without a permit
	UnaskedTracking Kind = "unasked tracking"       // tracking began without a permit, or went on past its end
	SyncSeen        Kind = "sync seen"              // a sync with leave arrived
	SyncMissed      Kind = "sync not as expected"   // the mount ignored it or took a part
	Jump            Kind = "reading jumped"         // a reading moved faster than the axis can
	Frozen          Kind = "reading frozen"         // a reading stood still while the rig moved
	OffEnd          Kind = "came to rest elsewhere" // outside the predicted ends
	TooSoon         Kind = "came to rest too soon"  // sooner than the motion takes
	OffWay          Kind = "left its way"           // outside the way that was checked
	SideOpen        Kind = "side not shown"         // a flip may or may not have happened
	SideShown       Kind = "side shown"             // and now it is known
	PermitEnded     Kind = "permit ended"           // closed
	PermitExpired   Kind = "permit expired"         // never begun in time
	PermitWithdrawn Kind = "permit withdrawn"       // taken back
	BeginRefused    Kind = "begin refused"          // the permit waits on, or is dead
	PermitBegun     Kind = "permit begun"           // the rig may move
	HomedAt         Kind = "homed"                  // a new homing
	Closure         Kind = "closure"                // how far the counts were off at the mark
	ActTaken        Kind = "act"                    // what an act makes void
	SolveAgainst    Kind = "solve against the pose" // one good solve disagrees
	SolveFor        Kind = "solve sides with pose"  // and one sides with it again
	PoseLost        Kind = "pose lost"              // made unknown; by evidence: lock
	PolarError      Kind = "polar axis off"         // a polar error explains the solves
	EventMismatch   Kind = "event fits nothing"     // an event about a permit or leave that is not there
	ClosedTrue      Kind = "source closes"          // a sensed home closed within three sigma
	NothingToCount  Kind = "no anchor"              // the rig moved before a sample showed where it counts from
)

// Notice is one thing that a sample or event showed, worth an entry of the record.
type Notice struct {
	Kind      Kind     `json:"kind"`
	Sentence  string   `json:"sentence"`            // one line for a person, with numbers
	Withdraws bool     `json:"withdraws,omitempty"` // it took the open permit back
	Locks     bool     `json:"locks,omitempty"`     // the rig must be locked
	About     []string `json:"about,omitempty"`     // permit, leave, source or asker concerned
}

// EndKind says how an asker reports the end of a motion.
type EndKind string

// How a motion ended.
const (
	Done     EndKind = "done"
	NotMoved EndKind = "not moved"
	Stopped  EndKind = "stopped"
	Failed   EndKind = "failed"
)

// ActKind is an act that samples cannot show.
type ActKind string

// Acts.
const (
	ClutchOpened        ActKind = "clutch opened"
	ControllerRestarted ActKind = "controller restarted"
	PowerLost           ActKind = "power lost"
	PayloadChanged      ActKind = "payload changed"
	Rebalanced          ActKind = "re-balanced"
	PolarAxisAdjusted   ActKind = "polar axis adjusted"
	TripodMoved         ActKind = "tripod moved"
	ClockSet            ActKind = "clock set"
	SiteSet             ActKind = "site set"
	DragStop            ActKind = "drag stop"
)

// Act is one act as reported.
type Act struct {
	Kind   ActKind
	Person string
	At     time.Time // zero: some time since the last sample
	Note   string
}

// Every function below takes the state as a value and returns the changed one. Where an event comes with a sample, hand both
// over in one call: each function knows whether the sample shows the rig before the event (Begin) or after it (all others); a
// nil sample is none. Each raises the epoch once if it took a permit back, homed, saw or was told of a sync or an act, or
// changed the state of the pose; grants, locks and revisions are the caller's to count.

// Observe takes one sample in.
func Observe(w World, s question.RigState, x question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// Begin begins a granted permit if the sample allows it: afterwards the permit is begun, or a notice says why not.
func Begin(w World, s question.RigState, permit string, x question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// End takes the asker's word that a motion is over. The permit stays open until a sample shows rest.
func End(w World, s question.RigState, permit string, how EndKind, x *question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// Homed sets a new homing: h has its id, instant, whether it was sensed, the person, the axes (both zero and no sigma: the
// rig's home), sigma (zero: the rig file's when sensed, 1° when attested) and the closure error where it is known.
func Homed(w World, s question.RigState, h question.Homing, x *question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// Synced takes the word that the mount was told a position, with a leave or (empty) without; refused: the mount declined it.
func Synced(w World, s question.RigState, leave string, refused bool, x *question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// Acted takes an act in and makes void what it makes void.
func Acted(w World, s question.RigState, a Act, x *question.Sample) (question.RigState, []Notice) {
	return s, nil
}

// Evidence takes a judged solve in: it is kept for the next ones, and a good one that disagrees with the pose is evidence
// against it.
func Evidence(w World, s question.RigState, j question.JudgedSolve) (question.RigState, []Notice) {
	return s, nil
}

// Lapse ends what time alone ends: granted permits not begun, begun ones past stop_by, leaves not used.
func Lapse(s question.RigState, now time.Time) (question.RigState, []Notice) {
	return s, nil
}

// Withdraw takes the open permit and the live sync leave back.
func Withdraw(s question.RigState, why string) question.RigState {
	return s
}

// At carries the pose to an instant. Its At stays the instant of the sample that it rests on: the age is t less that.
func At(w World, s question.RigState, t time.Time) question.Pose {
	return s.Pose
}
