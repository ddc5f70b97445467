package pose

import (
	"time"

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
	// Other is what the record tells, in brackets after a blank, of the permit that an event names, for where it is not the rig's last one; empty: nothing.
	Other string
	// MapTolerance is the limit mount/map axis_deg; 0 stands for its default, 0.5°.
	MapTolerance unit.Angle
	// Skew is the limit time/agree skew_s; 0 stands for its default, 5 s.
	Skew time.Duration
}

// Kind says what a notice is about. The list is closed: doubtful words become record entries and wake people.
type Kind string

// Kinds of notice.
const (
	Ignored         Kind = "sample ignored"         // late, doubled with other content, from the future, from another homing
	Gap             Kind = "samples missing"        // sequence numbers skipped, or begun anew
	Restarted       Kind = "restarted"              // a new run mark, or signs of a restart
	Demoted         Kind = "source demoted"         // a source moved with a sync
	Unlisted        Kind = "source not listed"      // samples read one that the rig file does not list
	Apart           Kind = "sources disagree"       // two sources turned differently, or the one left is silent
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
	SideOpen        Kind = "side not shown"         // a flip may or may not have happened, or the side told cannot be
	PartMoved       Kind = "part moved"             // one is in another state than a permit was judged in
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
	OurClock        Kind = "service clock set"      // and the pose goes by the time
)

// Code says what a notice tells where a program goes by more than its kind.
type Code string

// Codes of notices.
const (
	EntriesGone Code = "entries gone" // pose lost: entries of the rig's chain are gone from the record
)

// Notice is one thing that a sample or event showed, worth an entry of the record.
type Notice struct {
	Kind      Kind     `json:"kind"`
	Sentence  string   `json:"sentence"`            // one line for a person, with numbers
	Withdraws bool     `json:"withdraws,omitempty"` // it took the open permit back
	Locks     bool     `json:"locks,omitempty"`     // the rig must be locked
	About     []string `json:"about,omitempty"`     // permit, leave, source or asker concerned
	Code      Code     `json:"code,omitempty"`      // one of the list above; most have none
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
