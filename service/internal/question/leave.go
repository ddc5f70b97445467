package question

import (
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// PermitState is where a permit stands in its life.
type PermitState string

// The life of a permit.
const (
	Granted   PermitState = "granted"   // waits for a begin
	Begun     PermitState = "begun"     // the rig may move
	Ended     PermitState = "ended"     // seen at rest, or closed by the asker
	Withdrawn PermitState = "withdrawn" // taken back
	Expired   PermitState = "expired"   // never begun in time, or seen unmoved after start_by
)

// Permit is leave for one motion.
//
// Invariant: at most one permit per rig is Granted or Begun.
type Permit struct {
	ID        string      `json:"id"`
	RequestID string      `json:"request_id"`
	Rig       string      `json:"rig"`
	Action    Action      `json:"action"`
	Epoch     uint64      `json:"epoch"` // that its granting made
	State     PermitState `json:"state"`
	Asker     string      `json:"asker,omitempty"`
	Critical  []string    `json:"critical,omitempty"`

	Asked        time.Time     `json:"asked"` // received, by the service's clock
	StartBy      time.Time     `json:"start_by"`
	StartWithin  time.Duration `json:"start_within"` // from the first sending
	StopBy       time.Time     `json:"stop_by"`
	StopWithin   time.Duration `json:"stop_within"`
	FirstContact *time.Time    `json:"first_contact,omitempty"`

	From    rig.Axes       `json:"from"`            // the judged start, likeliest candidate
	Ends    []rig.Axes     `json:"ends"`            // the predicted ends on arrival, intended first
	Aimed   []int          `json:"aimed,omitempty"` // which of Ends are where the target is, and not where the mount goes by what it believes
	Sigma   rig.Axes       `json:"sigma"`           // of the pose it was judged from
	MotionS float64        `json:"motion_s"`        // predicted time of the motion before tracking, to whichever end takes longest
	EndS    []float64      `json:"end_s,omitempty"` // predicted time of the motion to each of Ends; none where the record is from before this was kept
	Tracks  bool           `json:"tracks"`
	Homing  string         `json:"homing,omitempty"`
	Source  rig.SourceKind `json:"source,omitempty"` // of the pose it was judged from
	// Parts are the states of parts that it was judged in; a part that is not among them was judged in all of its states.
	Parts   []rig.PartState `json:"parts,omitempty"`
	Legs    []Leg           `json:"legs,omitempty"`
	Closest *Clearance      `json:"closest,omitempty"`

	BegunAt *time.Time `json:"begun_at,omitempty"`
	// WithdrawnAt is when it was taken back, by the service's clock; nil where nothing told when.
	WithdrawnAt *time.Time `json:"withdrawn_at,omitempty"`
	Moved       bool       `json:"moved,omitempty"` // a sample showed the rig off its start
	Because     string     `json:"because,omitempty"`

	// Arrived is when a sample first showed the motion over, the rig still or following the sky.
	Arrived *time.Time `json:"arrived,omitempty"`
	// MovingS is for how long samples have shown axis 1 turning.
	MovingS float64 `json:"moving_s,omitempty"`
	// Told is how the asker says that the motion ended ("done", "not moved", "stopped", "failed"); empty: nothing said.
	Told string `json:"told,omitempty"`
}

// Takes is how many seconds the motion to an end is predicted to take, by its number in Ends: where it was not kept by end, as long as to any.
func (p *Permit) Takes(end int) float64 {
	if len(p.EndS) == len(p.Ends) {
		return p.EndS[end]
	}
	return p.MotionS
}

// Open tells whether the permit binds its rig.
func (p *Permit) Open() bool { return p != nil && (p.State == Granted || p.State == Begun) }

// Leg is one proven stretch in axis space.
type Leg struct {
	From    rig.Axes  `json:"from"`
	To      rig.Axes  `json:"to"`
	Closest Clearance `json:"closest"`
}

// Clearance is a proven bound of the gap between two parts.
type Clearance struct {
	LowerMM    float64    `json:"lower_mm"`
	UpperMM    float64    `json:"upper_mm"`
	RequiredMM float64    `json:"required_mm"`
	Parts      [2]string  `json:"parts"`
	Axes       rig.Axes   `json:"axes"`
	Instant    *time.Time `json:"instant,omitempty"`
}

// SyncLeave is leave for one sync.
type SyncLeave struct {
	ID        string        `json:"id"`
	RequestID string        `json:"request_id"`
	Rig       string        `json:"rig"`
	Action    Action        `json:"action"`
	Epoch     uint64        `json:"epoch"`
	Asked     time.Time     `json:"asked"`
	UseBy     time.Time     `json:"use_by"`
	UseWithin time.Duration `json:"use_within"`
	Critical  []string      `json:"critical,omitempty"`
	Live      bool          `json:"live"`
	Because   string        `json:"because,omitempty"` // of one that is no longer live
	Expected  rig.Axes      `json:"expected"`          // axes of the solve at mid-exposure less the pose there
}

// Lock holds a rig, or all, until a person releases it.
type Lock struct {
	ID     string    `json:"id"`
	Rig    string    `json:"rig,omitempty"` // empty: all
	SetBy  string    `json:"set_by"`
	Reason string    `json:"reason"`
	Set    time.Time `json:"set"`
}

// Clock is what bounds the error of the service's clock, told or read at one instant.
type Clock struct {
	KernelSynced bool       `json:"kernel_synced"`
	KernelBoundS float64    `json:"kernel_bound_s"`    // only meaningful while synced
	GoodAt       *time.Time `json:"good_at,omitempty"` // last good offset
	GoodBoundS   float64    `json:"good_bound_s,omitempty"`
	ToldAt       *time.Time `json:"told_at,omitempty"` // a person's dated statement
	ToldBoundS   float64    `json:"told_bound_s,omitempty"`
	Jumped       string     `json:"jumped,omitempty"` // wall clock against monotonic: both readings, one phrase; empty: none
}

// Beside returns what of a pose's standard deviation is not that of its home, each axis.
func Beside(pose, home rig.Axes) rig.Axes {
	less := func(a, b unit.Angle) unit.Angle { return unit.Angle(math.Sqrt(max(0, float64(a*a-b*b)))) }
	return rig.Axes{A1: less(pose.A1, home.A1), A2: less(pose.A2, home.A2)}
}

// Sigma3 returns three standard deviations of each axis.
func Sigma3(s rig.Axes) rig.Axes { return s.Scale(3) }

// SiderealRate is the rate at which an equatorial axis 1 follows the stars, radians per second: 15.041067″ per second.
// Source: IERS Conventions (2010), eq. 5.15, Earth rotation angle 1.00273781191135448 turns per UT1 day.
const SiderealRate = unit.Angle(2 * 3.14159265358979323846 * 1.00273781191135448 / 86400)
