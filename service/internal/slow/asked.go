package slow

import "time"

// Question is what is asked, and all that is known; times are seconds from the question's instant, past ones negative.
type Question struct {
	Kind       string // slew, retreat, sync, track, jog, creep, home, park, flip
	Sky        *Sky
	Axes       *Axes
	Side       string
	Follow     float64 // s
	Rate       float64 // jog, creep, rad/s; 0: the rig's
	Order      string  // home
	Solve      *Solve
	Given      *Sky // sync: the place as the mount will get it; nil: the solve's
	At         time.Time
	Sent       *float64
	Attended   bool
	BeginLater bool
	State      State
}

// Place is one place where the axes may be.
type Place struct{ Axes, Sigma Axes }

// State is what is held of a rig. Places are as of the sample's time.
type State struct {
	Known    bool // else the places are candidates; none: unknown
	Places   []Place
	Counts   bool // the pose comes from an encoder or from motor counts
	Sample   Sample
	Unheard  bool // the question's own sample was not taken in
	Locks    int
	Clock    Clock
	Proof    *Proof
	Limit    *float64        // in the mount, as last seen, of the axis of the file
	Learnt   map[string]Axes // by side, where a solve of this homing was accepted
	Pointing *Pointing       // nil: nothing was learnt
	Syncs    []Done
	Solves   []Judged
	Before   []Judged // those in doubt from before homings that moved nothing
	Drift    *Drift   // of earlier solves as this one, on its side; nil: none
	Marks    []Mark
	Synced   [2]float64 // right ascension and declination by which syncs seen since the homing moved belief
	Kept     [2]float64 // by which those from before it may have moved belief besides; KeptSure: they have
	KeptSure bool
	Disproof bool // samples disproved how the file has syncs kept
}

// Drift is what solves shifted by to one side, and the last of them.
type Drift struct {
	Sums       [4]float64 // across up and down, along up and down; standard deviations
	Comparable bool       // with what was last seen
	Stood
	From *Stood // where the last accepted one was seen of before the sums began; nil: nowhere
}

// Stood is where axes stood and a picture was solved, and when.
type Stood struct {
	Pose, Solved Axes
	Mid          float64
}

// Sample is the last report of the rig.
type Sample struct {
	Time   *float64
	Doing  string // at rest, tracking, moving
	Belief *Sky   // where the mount says that it points
	Side   string
	LST    *float64
	Site   *[2]float64 // latitude, longitude
	Parts  []Report
}

// Clock bounds the error of the service's clock.
type Clock struct {
	Jumped bool
	Kernel *float64 // while synchronised
	Good   *Stated
	Told   *Stated
}

// Stated is a bound of some time ago.
type Stated struct{ Ago, Bound float64 }

// Proof is a person's check of the rig file.
type Proof struct {
	Residual, Days float64
	Void           bool // stale, or signs not checked; the file is the same
}

// Done is a sync that the mount was told.
type Done struct {
	Time   float64
	Axes   Axes
	Nearer bool
}

// Judged is a solve that was judged since the last homing.
type Judged struct {
	Verdict      string // accepted, allowed, held, denied
	Sky          *Sky   // as solved
	Mid          float64
	Picture      string
	Blind        bool
	Hint         *Sky
	Pose, Solved Axes
	Field        float64
	Good, Agreed bool
	Against      bool
}

// Mark is what is kept of a past sample.
type Mark struct {
	Time  float64
	Doing string
	Axes  Axes
	Known bool
}

// Solve is a plate solve.
type Solve struct {
	Sky      Sky
	Start    *float64
	Exposure float64
	Pixel    *float64
	Width    *float64
	Rotation *float64
	Mirrored *bool
	Matched  *int
	Residual *float64
	Radius   *float64
	Hint     *Sky
	Picture  string
	Mid      *float64 // time of the sample sent as that of mid-exposure
}
