package rig

import (
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Rig is one rig as its file describes it, with every default filled in. It is made by Parse and never changed.
//
// Invariant: every number is finite and in the range its key states; Home and Rests lie within Travel; no ground part overlaps an
// axis-2 part at home.
type Rig struct {
	ID       string // [a-z][a-z0-9-]{0,62}
	Title    string
	Class    string // the class file it follows; empty: none
	Practice bool   // a simulated rig: its permits bind no real one
	Digest   [32]byte

	Kind    Kind
	Site    Site
	Tilt    Tilt
	Chain   Chain
	Parts   []Part
	Allowed [][2]int // pairs of parts that always touch, by index
	Horizon []Skyline
	Home    Axes
	Rests   []Rest
	Travel  Travel

	Motion  Motion
	Mount   Mount
	Sources []Source // best first
	Homing  Homing
	Stop    Fallback
	Optics  []Optics
	Solver  SolverFigures
	Lacks   []string // equipment it declares that it does not have: "drag", "roof", "neighbours"
	Limits  []Limit  // limits that the files set: those of the class first, then the rig's own
	Notices []Fault  // what a person should look at again; none of it stops the rig from loading
}

// Site is where the rig stands.
type Site struct {
	Lat, Lon     unit.Angle // north and east positive
	HeightM      float64
	PressureHPa  float64 // mean air pressure there
	TemperatureC float64 // mean night temperature
}

// Link is what a part is fixed to.
type Link int

// Links.
const (
	Ground Link = iota
	OnAxis1
	OnAxis2
)

// String names the link for people.
func (l Link) String() string { return [...]string{"ground", "axis 1", "axis 2"}[l] }

// Part is one thing that can be touched, under a name that a person would use.
type Part struct {
	Name   string
	Link   Link
	Margin unit.Length // its own share of every pair's required gap; 0 = the limit clear/path part_mm
	// Reading is by how much the part may stand nearer than its shapes say, from the errors of the tape; it widens every pair's
	// required gap. What two parts share (the height of the axes) counts for both: too much, never too little.
	Reading unit.Length
	Shapes  []solid.Shape // at the zero pose, rig frame; of a part with states: what is there in every state
	States  []State       // empty: it has only one
	From    string        // the key of the file that made it
}

// State is one state of a part, with the shapes that it adds.
type State struct {
	Name      string  // of a named state
	Low, High float64 // of a travel (mm) or an angle (°): the interval [Low, High] that this state covers
	Measured  string  // "", "mm" or "deg"
	Shapes    []solid.Shape
}

// PartState is a reported state: a name, or a measure in the part's own unit.
type PartState struct {
	Part    string   `json:"part"`
	Name    string   `json:"name,omitempty"`
	Measure *float64 `json:"measure,omitempty"`
	Unit    string   `json:"unit,omitempty"` // "mm" or "deg"
}

// Skyline is a point of the local horizon: what stands up to Alt at azimuth Az; between points it is interpolated.
type Skyline struct{ Az, Alt unit.Angle }

// Rest is a place of rest.
type Rest struct {
	Name string
	Axes Axes
}

// Travel is the mechanical range of each axis, unreduced, ends included.
type Travel struct{ Low, High Axes }

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
	KeptOnAxes  SyncKeeping = "axes" // an offset of the axis counters
	KeptOnSky   SyncKeeping = "sky"  // an offset on the sky
	KeptUnknown SyncKeeping = "unknown"
	KeptInModel SyncKeeping = "model" // an internal model of unknown state: ends are not bounded
	NotKept     SyncKeeping = "none"  // ignores syncs
)

// SideChoice says who chooses the tube side of a slew.
type SideChoice string

// Who chooses the side.
const (
	AskerChooses SideChoice = "asker"      // the side asked for is taken; none asked: any
	ByHourAngle  SideChoice = "hour angle" // tube east from the meridian on, west before it, by the mount's own clock
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
	Sigma  Axes // uncertainty after a sensed homing
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

// Limit is one limit that a file sets.
type Limit struct {
	Rule, Name string
	Value      float64
	File       string
	Line       int
}

// HasLack tells whether the rig declares that it lacks a kind of equipment.
func (r *Rig) HasLack(what string) bool {
	for _, l := range r.Lacks {
		if l == what {
			return true
		}
	}
	return false
}

// Body is one convex piece of a part at the zero pose.
type Body struct {
	Part  int
	Link  Link
	Shape solid.Shape
}

// Pair is two bodies of different links whose gap counts, with the gap that is required between them.
type Pair struct {
	A, B     int         // indices of Scene.Bodies; A's link is the lower
	Required unit.Length // both parts' margins and the general one
}

// Scene is what stands where for one set of part states: the input of every clearance question.
type Scene struct {
	Chain  *Chain
	Names  []string // of parts
	Bodies []Body
	Pairs  []Pair
}

// Scene returns the rig's bodies and the pairs that count. A part with states takes the shapes of its reported state, or, where
// none is reported, those of all of them. partMM is the least own margin of a part, generalMM the rig's general margin.
func (r *Rig) Scene(reported []PartState, partMM, generalMM unit.Length) *Scene {
	s := &Scene{Chain: &r.Chain}
	margins := make([]unit.Length, len(r.Parts))
	for i, p := range r.Parts {
		s.Names = append(s.Names, p.Name)
		margins[i] = max(p.Margin, partMM) + p.Reading
		for _, shape := range p.taken(reported) {
			s.Bodies = append(s.Bodies, Body{Part: i, Link: p.Link, Shape: shape})
		}
	}
	allowed := map[[2]int]bool{}
	for _, a := range r.Allowed {
		allowed[a], allowed[[2]int{a[1], a[0]}] = true, true
	}
	for i, a := range s.Bodies {
		for j, b := range s.Bodies {
			if a.Link < b.Link && !allowed[[2]int{a.Part, b.Part}] {
				s.Pairs = append(s.Pairs, Pair{i, j, margins[a.Part] + margins[b.Part] + generalMM})
			}
		}
	}
	return s
}

// taken returns the shapes of a part under the states reported: its fixed ones and those of each state that the report leaves
// possible. A report that fits no state leaves them all.
func (p *Part) taken(reported []PartState) []solid.Shape {
	shapes := append([]solid.Shape(nil), p.Shapes...)
	fits := p.fitting(reported)
	if len(fits) == 0 {
		fits = p.States
	}
	for _, s := range fits {
		shapes = append(shapes, s.Shapes...)
	}
	return shapes
}

// fitting returns the states that a report about this part names.
func (p *Part) fitting(reported []PartState) []State {
	var out []State
	for _, r := range reported {
		if r.Part != p.Name {
			continue
		}
		for _, s := range p.States {
			switch {
			case r.Measure == nil && s.Measured == "" && s.Name == r.Name,
				r.Measure != nil && s.Measured == r.Unit && s.Low <= *r.Measure && *r.Measure <= s.High:
				out = append(out, s)
			}
		}
	}
	return out
}

// links returns the motion of each link from the zero pose to a, by Link.
func (c *Chain) links(a Axes) [3]frame.Motion[frame.Rig] {
	return [3]frame.Motion[frame.Rig]{frame.Still[frame.Rig](), c.Link1(a), c.Link2(a)}
}

// Place returns every body of a scene at a pose, in the order of Bodies.
func (s *Scene) Place(a Axes) []solid.Shape {
	links := s.Chain.links(a)
	out := make([]solid.Shape, len(s.Bodies))
	for i, b := range s.Bodies {
		out[i] = b.Shape.Moved(links[b.Link])
	}
	return out
}
