// Package question holds the nouns that everything above the rig speaks of: what is asked (Question, Action), what is known
// (Sample, Solve), what was granted (Permit, SyncLeave, Lock) and what the service holds of a rig (RigState, Snapshot). They
// have no behaviour beyond telling what they are.
//
// Angles are radians, axis angles unreduced, directions as right ascension and declination with their frame; times are UTC.
// An absent piece of knowledge is a nil pointer, an empty word or a zero time, never a number: 0 is a measurement. The JSON names
// are part of the record's format: fields are added, never renamed or given another meaning.
package question

import (
	"time"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Kind is the kind of an action.
type Kind string

// Kinds of action, in the words that rules use. A Retreat is a slew by axes to home or to a place of rest.
const (
	Slew    Kind = "slew"
	Retreat Kind = "retreat"
	Sync    Kind = "sync"
	Track   Kind = "track"
	Jog     Kind = "jog"
	Creep   Kind = "creep"
	Home    Kind = "home"
	Park    Kind = "park"
	Flip    Kind = "flip"
)

// Frame is the equator and equinox of a sky position.
type Frame string

// Frames.
const (
	ICRS   Frame = "ICRS"
	OfDate Frame = "of date"
)

// Sky is a direction on the sky, geocentric: no refraction, no parallax. RA is in [0°, 360°), Dec in [-90°, 90°].
type Sky struct {
	RA    unit.Angle `json:"ra_rad"`
	Dec   unit.Angle `json:"dec_rad"`
	Frame Frame      `json:"frame"`
}

// Action is one thing that a rig may be asked to do. Which fields count depends on Kind.
type Action struct {
	Kind   Kind          `json:"kind"`
	Sky    *Sky          `json:"sky,omitempty"`            // Slew
	Axes   *rig.Axes     `json:"axes,omitempty"`           // Slew and Retreat by axes: the end; Jog and Creep: the change
	Side   rig.Side      `json:"side,omitempty"`           // Slew; empty: the mount chooses
	Follow time.Duration `json:"follow,omitempty"`         // tracking after a Slew, Jog or Flip; Track: for so long
	Until  *time.Time    `json:"until,omitempty"`          // Track: until then instead
	Rate   *unit.Angle   `json:"rate_rad_per_s,omitempty"` // Jog: fastest; nil: the rig's. Creep: fastest
	Order  rig.Sharing   `json:"order,omitempty"`          // Home; empty: the file's
	Place  string        `json:"place,omitempty"`          // Park; empty: the only one
	Solve  *Solve        `json:"solve,omitempty"`          // Sync
	// Message is the action as its message came and was decoded, encoded again: what a permit repeats to the asker, who compares it
	// with what was sent. Empty on actions of our own making.
	Message []byte `json:"message,omitempty"`
	Given   *Sky   `json:"given,omitempty"` // Sync: the position as the mount will get it; nil: the solve's
}

// Solve is a plate solve: the evidence of a sync. A nil figure is not known.
type Solve struct {
	Sky      Sky           `json:"sky"`
	Start    time.Time     `json:"start,omitzero"` // shutter opened
	Exposure time.Duration `json:"exposure,omitempty"`
	Optics   string        `json:"optics,omitempty"`
	Pixel    *unit.Angle   `json:"pixel_rad,omitempty"`
	Width    *unit.Angle   `json:"width_rad,omitempty"`    // field, long side
	Height   *unit.Angle   `json:"height_rad,omitempty"`   // field, short side
	Rotation *unit.Angle   `json:"rotation_rad,omitempty"` // position angle of the picture's up, north through east
	Mirrored *bool         `json:"mirrored,omitempty"`
	Matched  *int          `json:"matched,omitempty"`
	Residual *unit.Angle   `json:"residual_rad,omitempty"` // root mean square
	Radius   *unit.Angle   `json:"radius_rad,omitempty"`   // searched around the hint; 180° = blind
	Hint     *Sky          `json:"hint,omitempty"`         // where the search was centred
	Picture  string        `json:"picture,omitempty"`
	Mid      *Sample       `json:"mid,omitempty"` // sample nearest mid-exposure, as sent
}

// Middle returns the mid-exposure instant; false where start or length is not known.
func (s *Solve) Middle() (time.Time, bool) {
	if s.Start.IsZero() || s.Exposure <= 0 {
		return time.Time{}, false
	}
	return s.Start.Add(s.Exposure / 2), true
}

// Doing is what a rig does over the ground, as told.
type Doing string

// Doings.
const (
	AtRest   Doing = "at rest"
	Tracking Doing = "tracking"
	Moving   Doing = "moving"
)

// Belief is where the mount says that it points.
type Belief struct {
	Sky  Sky      `json:"sky"`
	Side rig.Side `json:"side,omitempty"` // as the mount claims; empty: not told
}

// Reading is the axis angles of one source.
type Reading struct {
	Source rig.SourceKind `json:"source"`
	Axes   rig.Axes       `json:"axes"`
	Sigma  *rig.Axes      `json:"sigma,omitempty"`
}

// Place is a point on the ground, north and east positive.
type Place struct {
	Lat unit.Angle `json:"lat_rad"`
	Lon unit.Angle `json:"lon_rad"`
}

// Sample is one report of a rig, all of one instant.
type Sample struct {
	Time     time.Time `json:"time,omitzero"`     // when it was read, by the asker; zero: not told
	Received time.Time `json:"received,omitzero"` // by the service's clock
	Read     time.Time `json:"read,omitzero"`     // by the service's clock, from how old it was when it was sent; zero: not told
	Sequence *uint64   `json:"sequence,omitempty"`
	Asker    string    `json:"asker,omitempty"`
	Belief   *Belief   `json:"belief,omitempty"`
	// Unbelieved is why the belief that came with it is not held, and Belief nil; empty: it is, or none came.
	Unbelieved string          `json:"unbelieved,omitempty"`
	Doing      Doing           `json:"doing,omitempty"` // empty: not told, taken as moving
	Readings   []Reading       `json:"readings,omitempty"`
	Sidereal   *unit.Angle     `json:"sidereal_rad,omitempty"` // the mount's own sidereal time
	Site       *Place          `json:"site,omitempty"`         // the mount's own site
	HomingID   string          `json:"homing_id,omitempty"`
	Parts      []rig.PartState `json:"parts,omitempty"`
	RunMark    string          `json:"run_mark,omitempty"`
	SyncCount  *uint32         `json:"sync_count,omitempty"`
	Drag       [2]*float64     `json:"drag,omitzero"`
	Up         *Uptime         `json:"up,omitempty"` // of the service's machine as it was received; nil: not known
}

// Uptime is for how long a machine has run, by the clock that nobody sets: what tells, over a restart of the service, how much time passed.
type Uptime struct {
	Boot string        `json:"boot"` // names the start that it counts from, unlike any other
	For  time.Duration `json:"for"`  // since that start, sleep counted
	// Bounded: something bounded the error of its wall clock then.
	Bounded bool `json:"bounded,omitempty"`
}

// Still tells whether the sample says that no axis moves but for tracking.
func (s *Sample) Still() bool { return s.Doing == AtRest || s.Doing == Tracking }

// Question is one question as understood, with who asked and when.
type Question struct {
	ID         string    `json:"id"`
	Digest     [32]byte  `json:"-"` // of the request's bytes
	Rig        string    `json:"rig"`
	Action     Action    `json:"action"`
	Sample     *Sample   `json:"sample,omitempty"`
	Sent       time.Time `json:"sent,omitzero"`
	At         time.Time `json:"at"` // received, by the service's clock
	Asker      string    `json:"asker,omitempty"`
	AttendedBy string    `json:"attended_by,omitempty"`
	Replaces   string    `json:"replaces,omitempty"`
	BeginLater bool      `json:"begin_later,omitempty"`
}
