// Package gauge holds a described rig against the rig itself: which turns of the axes a person watches to see that directions and scale are
// right, at which poses a person measures which gaps, and what the measured gaps say of the file.
//
// Poses are mechanical axis angles in radians from the rig's zero, unreduced; lengths and gaps millimetres; sides those of the rig frame (east,
// north, up). A plan goes by the rig and the file's lengths alone, so that the same file always gives the same plan.
//
// Gauge poses are chosen greedily for the most that their gaps, all together, tell of the file's lengths (D-optimal design: Fedorov, Theory of
// Optimal Experiments, 1972, section 2.7), among poses that are clear with room to spare and that a person reaches turning one axis at a time.
// What a length does to a gap is found by reading the file again with that length changed. Lengths that bind the travel come first where the gaps would not
// show that they are wrong; those of which no gap can are named apart.
//
// It judges no motion and moves nothing. Left out: bending under a load, parts with states (which one they are in nobody knows here), and two
// lengths that are wrong at once: then one length explains the gaps badly, and that is said.
package gauge

import (
	"errors"
	"fmt"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Budget is how many cells of axis space the proof of each way may look at.
const Budget = reach.DefaultBudget

// creep is how well a person who turns the axes by a hand controller, one after the other, keeps to the way that was proven. Choice: what is
// read off a display while the eyes are on the rig.
const creep = unit.Degree

// ErrStopped is the error of what was told to stop.
var ErrStopped = errors.New("it was stopped before its end")

// Subject is a described rig and how its file may be read otherwise.
type Subject struct {
	Rig           *rig.Rig
	Lengths       []Length
	part, general unit.Length
	bodies        int // of the rig
	// Floor is the lowest that the tube may point on the way to a gauge (the limit sky/floor), so that leave may be had for it; -90° where New made
	// the subject. Where home is lower, home is the floor.
	Floor unit.Angle
}

// Length is something that the file states of the rig and that may be wrong: a length, mm, or an angle, degrees.
type Length struct {
	Name string  // the key of the file, with the name of its class file where it stands there, or words
	Unit string  // "mm" or "deg"
	Is   float64 // as stated
	Err  float64 // within ±Err by the file's reading errors; 0: none is stated
	// with reads the file with so much more; turned is by how much the axes then truly stand elsewhere than they read. Nil where it does not load.
	with func(more float64) (r *rig.Rig, turned rig.Axes)
}

// New makes the subject of a rig: part and general are the margins in force (limits of clear/path), content the file that it was read from.
func New(r *rig.Rig, part, general unit.Length, file string, content []byte, open rig.Opener) *Subject {
	s := &Subject{Rig: r, part: part, general: general, Floor: -unit.HalfTurn / 2}
	s.bodies = len(s.scene().Bodies)
	changed := func(key string, more float64, in string) *rig.Rig {
		return r.With(rig.Change{Key: key, By: true, Value: more, File: in}, file, content, open)
	}
	for _, l := range rig.Lengths(file, content, open) {
		s.Lengths = append(s.Lengths, Length{l.String(), "mm", l.MM, l.Err, func(more float64) (*rig.Rig, rig.Axes) { return changed(l.Key, more, l.File), rig.Axes{} }})
	}
	if r.Kind.Equatorial() {
		s.Lengths = append(s.Lengths, Length{"site.latitude_deg", "deg", r.Site.Lat.Deg(), 0, func(more float64) (*rig.Rig, rig.Axes) {
			return changed("site.latitude_deg", more, ""), rig.Axes{}
		}})
	}
	for axis, one := range [2]rig.Axes{rig.DegAxes(1, 0), rig.DegAxes(0, 1)} {
		is, sigma := [2]unit.Angle{r.Home.A1, r.Home.A2}[axis], [2]unit.Angle{r.Homing.Sigma.A1, r.Homing.Sigma.A2}[axis]
		s.Lengths = append(s.Lengths, Length{fmt.Sprintf("home_deg, axis %d", axis+1), "deg", is.Deg(), 3 * sigma.Deg(), func(more float64) (*rig.Rig, rig.Axes) {
			return r, one.Scale(more)
		}})
	}
	return s
}

// Creep is by how much whoever turns the axes may be off the way of a pose, each axis, with home exactly where it is said to be.
func (s *Subject) Creep() rig.Axes { return rig.Axes{A1: creep, A2: creep} }

// spread is how far a person who creeps may be off the way, each axis: what the pose may be out by after a homing, and the creep itself.
func (s *Subject) spread() rig.Axes {
	return s.Rig.Homing.Sigma.Scale(3).Add(s.Creep())
}

// scene is the rig without margins.
func (s *Subject) scene() *rig.Scene { return s.Rig.Scene(nil, 0, 0) }

// prover proves ways of the rig with so much more than its margins ask for.
func (s *Subject) prover(more unit.Length) *reach.Prover {
	return reach.New(s.Rig.Scene(nil, s.part, s.general+more))
}
