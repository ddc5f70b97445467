package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Kinds of nights.
const (
	Fair = "fair" // neither a false solve nor a fault
	Good = "good" // few false solves
	Bad  = "bad"  // many, and faults
)

// Kinds lists them.
func Kinds() []string { return []string{Fair, Good, Bad} }

// Wish narrows what is drawn. The zero Wish narrows nothing.
type Wish struct {
	Kind      string // of night
	Mechanism string // of the false solves; each bad picture is by this one
	Fault     string // the night's fault
	Species   *Species
	Length    time.Duration // of the night, which is the rig's first then; 0: as drawn
}

// Lot is what a seed draws for one night.
type Lot struct {
	Seed     uint64
	Kind     string
	Species  Species
	Start    time.Time
	Length   time.Duration
	Blind    bool       // the solver's habit
	Radius   unit.Angle // else
	Earlier  []int      // targets of each earlier night
	Changed  bool       // the camera was turned since
	Aligns   bool
	Steps    int // of an alignment told afterwards; 0: the axis is set at once, and told
	Errors   practice.Errors
	Lean     frame.Vec[frame.Rig] // of an alt-azimuth's base
	Left     lean                 // what an alignment leaves
	Wander   rig.Axes             // by how much the index is off tonight, beside Errors.Index
	Clock    time.Duration        // the mount's, less the true one
	Computer time.Duration        // the computer's, and the service's with it
	Solver   solver
	False    float64 // chance that a solve is false
	Poison   *poison
	Faults   []Fault
	only     string // the mechanism wished for
}

// lean is an error of the polar axis, or of what stands for it.
type lean struct {
	polar rig.Tilt
	base  frame.Vec[frame.Rig]
}

// solver are the habits of a camera and its solver in a night.
type solver struct {
	scatter  unit.Angle
	low      float64
	matched  float64
	residual float64 // pixels, the night's middle
	scale    float64 // less that of the file, as a share
	angle    unit.Angle
	handed   bool
	clouds   []cloud
}

// cloud is a spell of thin cloud.
type cloud struct {
	from, until time.Time
	left        float64 // share of the stars
}

// poison is a slow poisoning.
type poison struct {
	from      time.Time
	step      unit.Angle
	most      unit.Angle
	direction unit.Angle // on the sky, position angle
}

// Fault is one fault of a night.
type Fault struct {
	Name  string
	At    time.Time
	Words string // with its figures
	strike
}

// strike does it.
type strike func(n *night)

// stream is a source of lots of its own: what one part of a night draws moves no other.
func stream(seed, part uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, part)) }

// Draw draws a night. The same seed and wish draw the same.
func (t *Table) Draw(seed uint64, w Wish) Lot {
	g := stream(seed, 1)
	l := Lot{Seed: seed, Kind: t.word(g, "night_kinds"), only: w.Mechanism}
	l.Species = t.species(g)
	if w.Species != nil {
		l.Species = *w.Species
	}
	if w.Kind != "" {
		l.Kind = w.Kind
	}
	l.Start = dusk(g, l.Species)
	l.Length = hours(t.draw(g, "night_hours"))
	l.Blind = t.chance(g, "solver_blind")
	l.Radius = unit.Deg(t.draw(g, "hint_radius_deg"))
	for range int(t.draw(g, "earlier_nights")) {
		l.Earlier = append(l.Earlier, int(t.draw(g, "earlier_targets")))
	}
	if w.Length > 0 {
		l.Length, l.Earlier = w.Length, nil
	}
	l.Changed = t.chance(g, "camera_turned_before")
	l.Aligns = t.chance(g, "aligns_at_dusk")
	t.ordinary(stream(seed, 2), &l)
	l.Solver = t.solver(stream(seed, 3), &l)
	t.wrong(stream(seed, 4), &l, w)
	if g := stream(seed, 6); t.chance(g, "aligned_in_steps") {
		l.Steps = int(t.draw(g, "steps_of_alignment"))
	}
	return l
}

func (t *Table) species(g *rand.Rand) Species {
	s := Species{Mount: t.word(g, "mounts"), South: t.chance(g, "south"), Source: t.word(g, "pose_sources")}
	sensorless := t.chance(g, "homing_attested")
	s.Attested = sensorless && (s.Source == "belief" || s.Source == "reckoned")
	return s
}

// dusk draws an evening of the local winter: an hour and a quarter past six by the Sun, when it is dark at all of these places. Invented.
func dusk(g *rand.Rand, s Species) time.Time {
	first, lon := time.Date(2026, 11, 1, 18, 15, 0, 0, time.UTC), map[string]float64{"german": 11.1, "fork": 22.8, "alt-azimuth": -4.6}[s.Mount]
	if s.South {
		first, lon = time.Date(2026, 5, 10, 18, 15, 0, 0, time.UTC), map[string]float64{"german": 168.3, "fork": 141.2, "alt-azimuth": 172.8}[s.Mount]
	}
	return first.AddDate(0, 0, g.IntN(60)).Add(-hours(lon / 15)).Round(time.Minute)
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// minutes are minutes of time, of either sign.
func minutes(m float64) time.Duration { return hours(m / 60) }

// ordinary draws the errors of an ordinary rig.
func (t *Table) ordinary(g *rand.Rand, l *Lot) {
	axes := func(key string) rig.Axes { return rig.DegAxes(t.draw(g, key), t.draw(g, key)) }
	index := axes("index_sensed_deg")
	if by := axes("index_attested_deg"); l.Species.Attested {
		index = by
	}
	l.Errors = practice.Errors{
		Index: index, Cone: unit.Deg(t.draw(g, "cone_deg")), Across: unit.Arcmin(t.draw(g, "across_arcmin")),
		Flexure: unit.Arcmin(t.draw(g, "flexure_arcmin")), Sag: unit.Arcmin(t.draw(g, "sag_arcmin")),
		Backlash: rig.Axes{A1: unit.Arcmin(t.draw(g, "backlash_arcmin")), A2: unit.Arcmin(t.draw(g, "backlash_arcmin"))},
		Periodic: unit.Arcsec(t.draw(g, "periodic_arcsec")), Period: unit.Deg(t.draw(g, "periodic_deg")),
	}
	l.Wander = axes("index_night_deg")
	stands := t.lean(g, l.Species, unit.Arcmin(t.draw(g, "polar_error_arcmin")))
	unaligned := t.lean(g, l.Species, unit.Deg(t.draw(g, "polar_unaligned_deg")))
	l.Left = t.lean(g, l.Species, unit.Arcmin(t.draw(g, "polar_left_arcmin")))
	if l.Aligns {
		stands = unaligned
	}
	l.Errors.Polar, l.Lean = stands.polar, stands.base
	l.Clock = time.Duration(t.draw(g, "clock_ordinary_s") * float64(time.Second))
	l.Computer = time.Duration(t.draw(g, "computer_clock_s") * float64(time.Second))
}

// lean draws the direction of an error of the axis of such a size.
func (t *Table) lean(g *rand.Rand, s Species, size unit.Angle) lean {
	sin, cos := math.Sincos(2 * math.Pi * g.Float64())
	if s.Mount == "alt-azimuth" {
		return lean{base: frame.Vec[frame.Rig]{X: cos * float64(size), Y: sin * float64(size)}}
	}
	// On the sky an azimuth error counts with the cosine of the pole's altitude: for these places about 0.75.
	return lean{polar: rig.Tilt{East: size * unit.Angle(cos/0.75), Up: size * unit.Angle(sin)}}
}

// solver draws the habits of the night's solver, and its clouds.
func (t *Table) solver(g *rand.Rand, l *Lot) solver {
	s := solver{
		scatter: unit.Arcsec(t.draw(g, "scatter_arcsec")), low: t.draw(g, "scatter_low"), matched: t.draw(g, "true_matched"),
		residual: t.draw(g, "true_residual_pixel"), scale: t.draw(g, "scale_drift"), angle: unit.Angle(2 * math.Pi * g.Float64()), handed: g.IntN(4) == 0,
	}
	for range int(t.draw(g, "cloud_spells")) {
		from := l.Start.Add(time.Duration(g.Float64() * float64(l.Length)))
		s.clouds = append(s.clouds, cloud{from, from.Add(minutes(t.draw(g, "cloud_minutes"))), t.draw(g, "cloud_matched")})
	}
	return s
}

// wrong draws what goes wrong in the night.
func (t *Table) wrong(g *rand.Rand, l *Lot, w Wish) {
	bad, chance, poisoned := l.Kind == Bad, "fault_good", t.chance(g, "poisoning")
	switch l.Kind {
	case Good:
		l.False = t.draw(g, "false_good")
	case Bad:
		l.False = t.draw(g, "false_bad")
		chance = "fault_bad"
	}
	p := poison{l.part(g, 0.1, 0.7), unit.Arcmin(t.draw(g, "poison_step_arcmin")), unit.Deg(t.draw(g, "poison_most_deg")), unit.Angle(2 * math.Pi * g.Float64())}
	if bad && poisoned && w.Mechanism == "" && w.Fault == "" || w.Mechanism == "poisoning" {
		l.Poison = &p
	}
	if w.Fault != "" {
		l.Faults = append(l.Faults, t.fault(g, l, w.Fault))
		return
	}
	if l.Kind == Fair || w.Mechanism != "" {
		return
	}
	if t.chance(g, chance) {
		l.Faults = append(l.Faults, t.fault(g, l, t.word(g, "faults")))
		if t.chance(g, "second_fault") {
			l.Faults = append(l.Faults, t.fault(g, l, t.word(g, "faults")))
		}
	}
	slices.SortStableFunc(l.Faults, func(a, b Fault) int { return a.At.Compare(b.At) })
}

// part is an instant of the night, between two shares of its length.
func (l *Lot) part(g *rand.Rand, from, until float64) time.Time {
	return l.Start.Add(time.Duration((from + (until-from)*g.Float64()) * float64(l.Length)))
}

// Mechanisms lists the ways in which a solve may be false.
func (t *Table) Mechanisms() []string {
	return append(slices.Clone(t.entries["false_mechanisms"].words), "poisoning")
}

// FaultNames lists the faults.
func (t *Table) FaultNames() []string { return slices.Clone(t.entries["faults"].words) }

// String says in one line what a night is.
func (l *Lot) String() string {
	out := fmt.Sprintf("seed %d: a %s night, %s, %d earlier", l.Seed, l.Kind, l.Species, len(l.Earlier))
	for _, f := range l.Faults {
		out += "; " + f.Words
	}
	if l.Poison != nil {
		out += fmt.Sprintf("; slow poisoning by %.1f′ a solve up to %.1f° from %s", l.Poison.step.Arcmin(), l.Poison.most.Deg(), l.Poison.from.Format("15:04"))
	}
	return out
}
