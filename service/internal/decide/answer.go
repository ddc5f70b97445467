package decide

import (
	"errors"
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Classes of failure. To a client every one is a hold.
var (
	ErrNoRig    = errors.New("no such rig")
	ErrNoLock   = errors.New("no such lock")
	ErrReleased = errors.New("the lock was released already")
	ErrConflict = errors.New("contradiction in the request")
)

// NoRig is the error of a name that none of the rigs has.
func NoRig(name string, there []string) error {
	return fmt.Errorf("%w: %q; there are %v", ErrNoRig, name, there)
}

// ConflictError names fields of a request that cannot stand together or do not fit the rig.
type ConflictError struct{ Faults []FieldFault }

// FieldFault is one such field.
type FieldFault struct{ Path, Wanted, Got, Remedy string }

// Error lists the fields.
func (e *ConflictError) Error() string {
	s := ErrConflict.Error()
	for _, f := range e.Faults {
		s += "; " + f.Path + ": want " + f.Wanted + ", got " + f.Got
	}
	return s
}

// Unwrap gives the class.
func (e *ConflictError) Unwrap() error { return ErrConflict }

// Request is one request with its exact bytes, for the record, and the SHA-256 by which a repeat is known.
type Request struct {
	ID     string
	Digest record.Hash
	Sent   state.Exchanged
}

// Receipt is where an entry stands.
type Receipt struct {
	Place record.Place
	Time  time.Time
	Took  time.Duration
}

// Stop is a step of what is named instead, as a position for the mount.
type Stop struct {
	Step int
	facts.Stop
}

// Answer is the answer to a question.
type Answer struct {
	Verdict       verdict.Verdict
	Sentence      string
	Findings      []verdict.Finding // gravest first
	Needs         []verdict.Need
	Instead       []question.Action // a series that would pass, to be asked for one after the other
	proposed      []facts.Proposal  // what may be named there
	Stops         []Stop            // those of Instead that are slews by axes, as positions for the mount
	HarmlessUntil *time.Time
	StopTracking  bool
	Ends          []facts.End
	Closest       *question.Clearance
	Facts         facts.Set
	Notes         []string
	Permit        *question.Permit
	Leave         *question.SyncLeave
	Limits        []question.MountLimit // of the mount, as last reported: they may be what ends a permit
	At, Sent      time.Time             // when the question came in and was first sent: deadlines count from Sent
	Receipt       Receipt
	// Stored is the response as the record has it, without its receipt. Repeated: it left before, and only Permit and Leave beside it are
	// of now. Changed: they are not as it says, since something came while it waited for the disk.
	Stored   state.Exchanged
	Repeated bool
	Changed  bool

	replaces string // the open permit whose place Permit takes
}

// Outcome is what a report did.
type Outcome struct {
	Receipt       *Receipt // nil: a sample that needed no entry
	Epoch         uint64
	Permit        *question.Permit
	Limits        []question.MountLimit // as in Answer
	Notices       []pose.Notice
	HomingID      string
	HarmlessUntil *time.Time
	StopTracking  bool
	At, Sent      time.Time
	// Repeated: what the report did when it came first; only Epoch, Permit and Limits are of now.
	Repeated bool
}

// View is one rig as it stands.
type View struct {
	Rig           *rig.Rig
	State         question.RigState
	Pose          question.Pose // carried to now
	Locks         []question.Lock
	Needs         []verdict.Need
	HarmlessUntil *time.Time
	At            time.Time
}
