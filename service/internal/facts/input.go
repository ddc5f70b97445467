package facts

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
)

// Limits gives the limits in force by rule and name, in the unit of the name; false where there is none.
type Limits interface {
	Value(rule, name string) (float64, bool)
}

// Input is everything that the facts of one question are worked out from.
type Input struct {
	Question question.Question
	Snapshot question.Snapshot // with the question's own sample already taken in
	Rig      *rig.Rig
	Limits   Limits
	Moment   func(time.Time) (*sky.Moment, error) // Earth and sky at an instant; an error outside the stated years
	Cells    int                                  // work budget of each proof, in cells
	Shelf    *reach.Shelf                         // of provers kept from question to question; nil: each is made anew
	// Rehearsed: the present (samples, clocks, locks) is not asked about; pose and belief are taken as right.
	Rehearsed bool
	// Proposes: what may pass instead is worked out of a motion that does not, which takes longer than all else. Else there is no Instead.
	Proposes bool

	kept *reach.Prover // made for this question
}

// Outcome is what was worked out.
type Outcome struct {
	Facts   Set
	Ends    []End                 // where the motion could end; intended first
	Closest *question.Clearance   // of all ends and ways, and of the tracking that was asked for
	Legs    []question.Leg        // of the intended way
	Instead []Proposal            // what may pass where this does not, best first; to be judged before it is offered
	Sought  int                   // cells looked at for ways round and ways out
	Notes   []string              // what the question left out and what that cost; what is known of ways round; when what stands in the way is over
	Solve   *question.JudgedSolve // of a sync: the evidence as understood

	Start         rig.Axes   // the judged start, likeliest candidate
	Sigma         rig.Axes   // of the pose it was judged from
	After         rig.Axes   // where the intended way leaves the rig, tracking included
	MotionS       float64    // longest predicted time of the motion before tracking
	FollowS       float64    // asked tracking
	TrackEnds     *time.Time // the first thing that ends tracking; nil: none within 24 h
	FirstContact  *time.Time // beyond the motion, if nobody stops it; nil: none within 24 h
	HarmlessUntil *time.Time // how long carrying on as last reported stays clear; nil: not known
	Tracks        bool
	Parts         []rig.PartState // the states of parts that it was worked out in; of others all count
	SyncAxes      rig.Axes        // of a sync: the change of belief in axis terms
	SyncNearer    bool            // of a sync: it brings belief nearer the pose
}

// note puts a note, unless there is none.
func (o *Outcome) note(what string) {
	if what != "" {
		o.Notes = append(o.Notes, what)
	}
}

// Proposal is what may pass where a question does not.
type Proposal struct {
	Steps []question.Action // to be asked one after the other
	// Found says what was sought and is proven clear, "a way round": where it does not pass after all, that is worth telling. Empty of what is
	// only worth a look.
	Found string
}

// End is one place where a motion could end, with what usual limits would see there.
type End struct {
	rig.End
	Closest  *question.Clearance `json:"closest,omitempty"`
	Contact  *Contact            `json:"contact,omitempty"`
	MotionS  float64             `json:"motion_s"`
	Believed Believed            `json:"believed"`
}

// Believed is what the mount and usual limits would see at an end: where it would think that it points.
type Believed struct {
	AltitudeDeg float64 `json:"altitude_deg"`
	HourDeg     float64 `json:"hour_deg"` // hour angle, west positive
	Axis1Deg    float64 `json:"axis1_deg"`
	Axis2Deg    float64 `json:"axis2_deg"`
}

// Contact is a contact that a motion would make.
type Contact struct {
	Parts  [2]string `json:"parts"`
	Turned rig.Axes  `json:"turned"` // of each axis from the start
	AfterS float64   `json:"after_s"`
}

// dayS is how far ahead anything is looked for, in seconds: "none within 24 h" as a number.
const dayS = 86400.0

// limit returns a limit that shapes a fact; where the set lacks it, which a loaded set never does, the safe end of its meaning.
func (in *Input) limit(rule, name string, safe float64) float64 {
	if v, ok := in.Limits.Value(rule, name); ok {
		return v
	}
	return safe
}
