package rig

import (
	"time"

	"keepclear.example/keepclear/service/internal/unit"
)

// Sharing says how two axes share one motion.
type Sharing string

// Sharings.
const (
	Straight    Sharing = "straight"    // coordinated: a straight line in axis space
	Independent Sharing = "independent" // each axis by its own speed and acceleration
	Axis1First  Sharing = "axis 1 first"
	Axis2First  Sharing = "axis 2 first"
	AnyOrder    Sharing = "any order" // not known: the whole rectangle between the ends
)

// WayRound says which way an axis goes to a target.
type WayRound string

// Ways round.
const (
	WithinTravel WayRound = "within travel" // never through a travel end: the unreduced angle within travel
	Shortest     WayRound = "shortest"      // the nearest turn, whatever the travel
	WayUnknown   WayRound = "unknown"       // any turn within travel
)

// Motion is how the axes move.
type Motion struct {
	Sharing  Sharing
	RateDeg  [2]float64 // °/s, usual slewing rate of each axis
	AccelDeg [2]float64 // °/s²
	Way      WayRound
	Overrun  Axes   // how far beyond its end the approach may run, each way
	Via      []Axes // poses that every slew goes by, in order
	FlipVia  []Axes // poses that a change of side goes by, in order
}

// SyncKeeping says how the mount keeps a sync.
type SyncKeeping string

// Ways to keep a sync.
const (
	KeptOnAxes SyncKeeping = "axes" // an offset of the axis counters
	KeptOnSky  SyncKeeping = "sky"  // an offset on the sky
	// KeptSince and KeptAnew are of a candidate pose, never of a rig file: an offset on the sky with what syncs from before the homing made of it, and
	// the mount forgot those.
	KeptSince   SyncKeeping = "sky, since before the homing"
	KeptAnew    SyncKeeping = "since the homing"
	KeptUnknown SyncKeeping = "unknown"
	KeptInModel SyncKeeping = "model" // an internal model of unknown state: ends are not bounded
	NotKept     SyncKeeping = "none"  // ignores syncs
)

// MaybeOnSky tells whether a sync is kept as an offset on the sky, or may be.
func (k SyncKeeping) MaybeOnSky() bool { return k == KeptOnSky || k == KeptUnknown }

// SideChoice says who chooses the tube side of a slew.
type SideChoice string

// Who chooses the side.
const (
	AskerChooses SideChoice = "asker"      // the side asked for is taken; none asked: any
	ByHourAngle  SideChoice = "hour angle" // tube east from the meridian on, west before it, by the mount's own clock
	FirstOnly    SideChoice = "first only" // none: a fork or an alt-azimuth mount that never turns over
	AnySide      SideChoice = "any"        // the mount, by rules not known
)

// Mount is what the mount's own program does.
type Mount struct {
	Sync            SyncKeeping
	Chooses         SideChoice
	MeridianDelay   unit.Angle // ByHourAngle: hour angle of the change, west positive
	SideSensed      bool       // the side it reports comes from its axes, not from the hour angle
	FlipsItself     bool       // may change side while tracking, at FlipAt
	FlipAt          unit.Angle // hour angle of an automatic flip
	Refracts        bool       // its map from sky to axes includes refraction
	TellsSidereal   bool       // its sidereal time can be read
	TellsSite       bool
	CountsSyncs     bool // its syncs can be counted
	NobodyElseSyncs bool // stated: no other program or person syncs it
	RunMark         bool // samples can carry something that changes when it restarts
	HoldsUnpowered  bool // stays where it is without power
}

// SourceKind is a source of mechanical angles.
type SourceKind string

// Sources, best first.
const (
	AxisEncoder    SourceKind = "axis encoder"
	MotorCount     SourceKind = "motor count"
	UnsyncedBelief SourceKind = "unsynced belief"
	Reckoned       SourceKind = "reckoned"
)

// Source is a declared source of mechanical angles.
type Source struct {
	Kind      SourceKind
	MotorSide bool // reads on the motor side of the clutch, so a slip is not seen
	Sigma     Axes // one standard deviation once homed
}

// HomingKind says what a homing goes by.
type HomingKind string

// Kinds of homing.
const (
	BySensor HomingKind = "sensor"
	ByPerson HomingKind = "person" // attested at marks
	ByBelief HomingKind = "belief" // goes where the mount believes home to be
)

// Homing is how the reference is found and how the axes get there.
type Homing struct {
	By     HomingKind
	Order  Sharing
	Search Axes // sweep beyond home, each way, while searching
	Sigma  Axes // uncertainty after a homing; of one that a person saw 1° at least, unless stated otherwise
}

// FallbackKind is what stops a motion whose asker died.
type FallbackKind string

// Kinds of fallback.
const (
	NothingStops FallbackKind = "nothing"
	MotionEnds   FallbackKind = "motion ends"
	MountLimit   FallbackKind = "mount limit"
	PowerRelay   FallbackKind = "power relay"
)

// Fallback is what stops a motion whose asker died.
type Fallback struct {
	Kind   FallbackKind
	Axis   int        // MountLimit: 1 or 2
	Limit  unit.Angle // MountLimit: the angle at which it acts, by belief
	Seen   time.Time  // MountLimit: when it was last seen or tried; zero: never
	AfterS float64    // PowerRelay: seconds of silence after which it acts
}

// Optics is one telescope and camera.
type Optics struct {
	Name        string
	East, North unit.Angle  // boresight less tube axis on the sky at the meridian, as seen; learnt offsets come on top
	PixelArcsec *float64    // nil: to be learnt
	WidthDeg    *float64    // long side of the field; nil: from the solve
	HeightDeg   *float64    // short side
	CameraAngle *unit.Angle // position angle of the picture's up with the tube on the first side (east for a German mount); nil: to be learnt
	Mirrored    *bool       // nil: to be learnt
	PixelUM     *float64
}

// SolverFigures says which figures the solver is declared to lack.
type SolverFigures struct {
	NoScale, NoRotation, NoMirror, NoMatched, NoResidual, NoRadius bool
}
