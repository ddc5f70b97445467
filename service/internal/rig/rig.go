package rig

import (
	"slices"

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
	Placing unit.Length // reading errors of where the axes stand: widens every gap between the ground and what turns
	Allowed [][2]int    // pairs of parts that always touch, by index
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
	Notices []Find   // what the file alone shows that a person should look at again, or, where Info, know, the worst first
	places  map[string]spot
	drawn   drawn // what was taken of meshes, for With
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
	Name    string
	Link    Link
	Margin  unit.Length   // its own share of every pair's required gap; the limit clear/path part_mm where that is larger
	Reading unit.Length   // by how much it may stand nearer than its shapes say, from the errors of the tape: widens required gaps
	Shapes  []solid.Shape // at the zero pose, rig frame; of a part with states: what is there in every state
	States  []State       // empty: it has only one
	Meshes  []Drawn       // the meshes that some of the shapes were made of, of states too
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

// Travel is the mechanical range of each axis from the zero (the file states it from home), unreduced, ends included.
type Travel struct{ Low, High Axes }

// Limit is one limit that a file sets.
type Limit struct {
	Rule, Name string
	Value      float64
	File       string
	Line       int
}

// HasLack tells whether the rig declares that it lacks a kind of equipment.
func (r *Rig) HasLack(what string) bool {
	return slices.Contains(r.Lacks, what)
}
