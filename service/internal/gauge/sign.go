package gauge

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Side is a direction that a person can name.
type Side string

// Sides.
const (
	West  Side = "west"
	East  Side = "east"
	North Side = "north"
	South Side = "south"
	Up    Side = "up"
	Down  Side = "down"
	Still Side = "still" // nothing moved
)

// Cause is what an answer shows of the file, or of how the axes are wired.
type Cause string

// Causes.
const (
	AsDescribed Cause = "as described"
	Mirrored    Cause = "mirrored"
	Swapped     Cause = "axes swapped"
	SwappedBack Cause = "axes swapped and mirrored"
	Scale       Cause = "another scale"
	Otherwise   Cause = "otherwise"
)

// Sign is one step of the proof of directions and scale.
type Sign struct {
	Axis     int        // 1 or 2; 0: nothing is turned, the rig stands at home
	Turn     unit.Angle // of that axis, from home
	At       rig.Axes   // where the axes then read
	Part     string     // the part to watch
	What     string     // its place to watch: "the front end of the dew shield"
	Expected Seen       // as the file has it; of Axis 0 where it stands from where the axes cross, seen from above
	others   []other
}

// Seen is what a person sees of a part: to which side it went, and how far, mm.
type Seen struct {
	Side Side
	Also Side // a side that may as well be named, it went there nearly as far; empty: none
	MM   float64
}

type other struct {
	cause Cause
	seen  Seen
}

// turns are those tried for a step, degrees, best first. The design says a few.
var turns = []float64{10, -10, 5, -5}

// Of what a person sees. Choices: 5 mm is not told from nothing in the dark; what is guessed beside a tape is right to 30 % or 15 mm.
const (
	leastSeen  = 5.0
	seenRatio  = 0.3
	seenWithin = 15.0
)

// fits tells whether a distance, as a person gives it, may be the one that was to be seen.
func (x Seen) fits(mm float64) bool {
	return math.Abs(mm-x.MM) <= x.within()
}

// within is by how much a guess may be wrong.
func (x Seen) within() float64 { return max(seenWithin, seenRatio*x.MM) }

func (x Seen) to(side Side) bool { return side == x.Side || side == x.Also && x.Also != "" }

// differs tells whether a person tells two things apart by the side, or by how far: no guess may be of both.
func (x Seen) differs(o Seen) bool {
	return !x.to(o.Side) && !o.to(x.Side) || math.Abs(x.MM-o.MM) > x.within()+o.within()
}

// Judge tells what an answer shows: the side that was named, and how far, mm; negative: not told.
func (s *Sign) Judge(side Side, mm float64) Cause {
	if s.Expected.to(side) && (s.Axis == 0 || mm < 0 || s.Expected.fits(mm)) {
		return AsDescribed
	}
	for _, o := range s.others {
		if o.seen.to(side) && (s.Axis == 0 || mm < 0 || o.seen.fits(mm)) {
			return o.cause
		}
	}
	if s.Expected.to(side) {
		return Scale
	}
	for _, o := range s.others {
		if o.cause == Mirrored && o.seen.to(side) {
			return Mirrored
		}
	}
	return Otherwise
}

// signs are the steps: home, axis 1, axis 2. A step is left out where nothing can be told by it.
func (s *Subject) signs() []Sign {
	var out []Sign
	if home, ok := s.atHome(); ok {
		out = append(out, home)
	}
	for axis := 1; axis <= 2; axis++ {
		if one, ok := s.turned(axis); ok {
			out = append(out, one)
		}
	}
	return out
}

// Sign is the step of an axis (0: at home); nil where the plan has none.
func (p *Plan) Sign(axis int) *Sign {
	for i := range p.Signs {
		if p.Signs[i].Axis == axis {
			return &p.Signs[i]
		}
	}
	return nil
}

// witness is a part with a far end that a person can point at.
type witness struct {
	part int
	what string
	link rig.Link
	at   solid.Point // at the zero pose
}

// witnesses are the parts that turn and have a far end: one that lies a good deal farther from where the axes cross than the other. A part
// of several solids has none: what its far end is may be asked twice.
func (s *Subject) witnesses() []witness {
	scene := s.Rig.Scene(nil, 0, 0)
	count := map[int]int{}
	for _, b := range scene.Bodies {
		count[b.Part]++
	}
	var out []witness
	c := &s.Rig.Chain
	for _, b := range scene.Bodies {
		name := s.Rig.Parts[b.Part].Name
		low, high := b.Shape.Axis()
		near, far := low.Sub(c.Point2).Norm(), high.Sub(c.Point2).Norm()
		if near > far {
			near, far, low, high = far, near, high, low
		}
		if b.Link == rig.Ground || count[b.Part] > 1 || far < 1.15*near || far == near {
			continue
		}
		out = append(out, witness{b.Part, "the " + s.end(b.Link, high.Sub(low)) + " end of the " + name, b.Link, high})
	}
	return out
}

// end names the end of a part to which a direction points at the zero pose. What lies along the tube has a front and a rear: which of them is the
// far one nobody sees at a glance, and most would take the front.
func (s *Subject) end(l rig.Link, to frame.Vec[frame.Rig]) string {
	const along = 0.7 // of its length
	switch front := to.Dot(s.Rig.Chain.Direction(rig.Axes{})) / to.Norm(); {
	case l == rig.OnAxis2 && front > along:
		return "front"
	case l == rig.OnAxis2 && front < -along:
		return "rear"
	}
	return "far"
}

// point is where a witness is at a pose.
func (s *Subject) point(w *witness, at rig.Axes) solid.Point {
	c := &s.Rig.Chain
	if w.link == rig.OnAxis1 {
		return c.Link1(at).Point(w.at)
	}
	return c.Link2(at).Point(w.at)
}

// atHome asks on which side of the crossing a part stands at home.
func (s *Subject) atHome() (Sign, bool) {
	best, most := Sign{}, 0.0
	for _, w := range s.witnesses() {
		d := s.point(&w, s.Rig.Home).Sub(s.Rig.Chain.Point1)
		d.Z = 0
		seen := seenOf(d)
		if clear := dominance(d) * d.Norm(); clear > most && seen.Also == "" && d.Norm() >= 60 {
			most = clear
			best = Sign{At: s.Rig.Home, Part: s.Rig.Parts[w.part].Name, What: w.what, Expected: seen}
			best.others = []other{{Mirrored, seenOf(d.Scale(-1))}}
		}
	}
	return best, most > 0
}

// turned asks where a part goes when one axis turns: the turn and the part by which most is told apart, and of those the one that goes
// straightest and farthest.
func (s *Subject) turned(axis int) (Sign, bool) {
	best, most := Sign{}, 0.0
	for _, more := range []unit.Length{roomy, 0} {
		p := s.prover(more)
		for _, deg := range turns {
			by, swapped := rig.DegAxes(deg, 0), rig.DegAxes(0, deg)
			if axis == 2 {
				by, swapped = swapped, by
			}
			to := s.Rig.Home.Add(by)
			if !s.Rig.Travel.Holds(to) || s.way(p, to) == nil {
				continue
			}
			for _, w := range s.witnesses() {
				one, worth := s.watch(&w, axis, by, swapped)
				if worth > most {
					best, most = one, worth
				}
			}
			if most > 0 {
				return best, true
			}
		}
	}
	return best, most > 0
}

// watch is the step that watches one part, and what it is worth.
func (s *Subject) watch(w *witness, axis int, by, swapped rig.Axes) (Sign, float64) {
	home := s.Rig.Home
	goes := func(by rig.Axes) frame.Vec[frame.Rig] { return s.point(w, home.Add(by)).Sub(s.point(w, home)) }
	d := goes(by)
	out := Sign{Axis: axis, Turn: by.A1 + by.A2, At: home.Add(by), Part: s.Rig.Parts[w.part].Name, What: w.what, Expected: seenOf(d)}
	worth := 0.0
	for _, o := range []other{{Mirrored, seenOf(goes(by.Scale(-1)))}, {Swapped, seenOf(goes(swapped))}, {SwappedBack, seenOf(goes(swapped.Scale(-1)))}} {
		if out.Expected.differs(o.seen) {
			worth++
		}
		out.others = append(out.others, o)
	}
	if out.Expected.Side == Still || worth == 0 || !out.Expected.differs(out.others[0].seen) {
		return out, 0
	}
	return out, worth + min(dominance(d), 10)/20 + min(d.Norm(), 200)/1000
}

// seenOf names where something went.
func seenOf(d frame.Vec[frame.Rig]) Seen {
	out := Seen{Side: Still, MM: d.Norm()}
	if out.MM < leastSeen {
		return out
	}
	along := [3]float64{d.X, d.Y, d.Z}
	words := [3][2]Side{{East, West}, {North, South}, {Up, Down}}
	first, second := -1, -1
	for i, v := range along {
		switch {
		case first < 0 || math.Abs(v) > math.Abs(along[first])*(1+1e-9):
			first, second = i, first
		case second < 0 || math.Abs(v) > math.Abs(along[second])*(1+1e-9):
			second = i
		}
	}
	word := func(i int) Side {
		if along[i] < 0 {
			return words[i][1]
		}
		return words[i][0]
	}
	out.Side = word(first)
	if math.Abs(along[second]) > 0.6*math.Abs(along[first]) {
		out.Also = word(second)
	}
	return out
}

// dominance is how much farther it went to its side than to any other.
func dominance(d frame.Vec[frame.Rig]) float64 {
	a := []float64{math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)}
	most := max(a[0], a[1], a[2])
	rest := a[0] + a[1] + a[2] - most - min(a[0], a[1], a[2])
	return most / max(rest, most/10, 1e-9)
}

// Sentence says what an answer shows, for a person.
func (s *Sign) Sentence(c Cause) string {
	axis := fmt.Sprintf("axis %d", s.Axis)
	switch c {
	case AsDescribed:
		return "As the file says."
	case Mirrored:
		if s.Axis == 0 {
			return "Mirrored: at home the rig stands the other way round than the file says. Look at latitude_deg (south is negative), home_deg, and whether north was taken for south."
		}
		return "Mirrored: " + axis + " turns the other way than the file says. What reports its angle counts backward, or the file describes the rig in a mirror."
	case Swapped:
		return "Axes swapped: what was seen is what the other axis does. What reports the angles gives axis 1 for axis 2 (or, if nothing at all moved, " + axis + " did not turn: look at its clutch)."
	case SwappedBack:
		return "Axes swapped and mirrored: what was seen is what the other axis does, backward."
	case Scale:
		return fmt.Sprintf("Another scale: the side is right, but it should have gone %.0f mm. What reports the angle of %s may count in another unit, or a gear is another.", s.Expected.MM, axis)
	case Otherwise:
	}
	if s.Axis == 0 {
		return fmt.Sprintf("Not as the file says: at home %s should stand to the %s of where the axes cross. The rig is not at home, or home_deg is wrong.", s.What, s.Expected.Side)
	}
	return fmt.Sprintf("Not as the file says: %s should have gone %s by %.0f mm.", s.What, s.Expected.Side, s.Expected.MM)
}
