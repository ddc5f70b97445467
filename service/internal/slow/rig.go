package slow

import "math"

// Kinds of mount, and sides.
const (
	German = "german equatorial"
	Fork   = "fork equatorial"
	AltAz  = "alt-azimuth"

	East, West    = "east", "west"
	First, Second = "first", "second"
)

// Links.
const (
	Ground = iota
	OnAxis1
	OnAxis2
)

// Rig is a rig as its file has it, in plain numbers.
type Rig struct {
	Kind        string
	Lat, Lon    float64
	Pressure    float64 // hPa
	Warmth      float64 // °C
	TiltEast    float64 // of the elevated end of axis 1
	TiltUp      float64
	Crossing    float64 // height of the crossing
	Apart       float64 // by how much the axes miss each other
	Parts       []Part
	Placing     float64 // reading error of where the axes stand
	Touch       [][2]string
	Skyline     [][2]float64 // azimuth, altitude
	Home        Axes
	Rests       []Axes
	Low, High   Axes // travel from zero
	Sharing     string
	Rate, Accel [2]float64
	Way         string
	Overrun     Axes
	Via         []Axes
	FlipVia     []Axes
	Sync        string
	Chooses     string
	Delay       float64 // hour angle of the change of side
	SideSensed  bool
	FlipsItself bool
	FlipAt      float64
	Refracts    bool
	TellsLST    bool
	TellsSite   bool
	HomeBy      string
	HomeOrder   string
	Search      Axes
	Stop        Stop
	Optics      Optics
	Lacks       map[string]bool // of the solver: scale, rotation, mirror, matched, residual, radius

	d1, d2, tube V
	p1, p2       V
	frames       [3]frame
	scenes       map[string]*scene
}

// Stop is what stops a motion whose asker died.
type Stop struct {
	Kind  string // nothing, motion ends, mount limit, power relay
	Axis  int    // 0 or 1
	Limit float64
	Seen  bool
	After float64 // s
}

// Optics is the one telescope of the rig; nil: to be learnt.
type Optics struct {
	Pixel, Camera, Field *float64
	Mirrored             *bool
}

// Part is one part, its lengths in the frame of its link.
type Part struct {
	Name            string
	Link            int
	Margin, Reading float64
	Fixed           []Shape
	States          []PartState
}

// PartState is one state of a part: a name, or a span of millimetres.
type PartState struct {
	Name      string
	Low, High float64
	Shapes    []Shape
}

// frame is where lengths are measured from, at the zero pose.
type frame struct{ at, x, y, z V }

func (f *frame) place(v V) V {
	return f.at.add(f.x.times(v[0])).add(f.y.times(v[1])).add(f.z.times(v[2]))
}

func (r *Rig) equatorial() bool { return r.Kind != AltAz }

// Ready works out the axes at zero: design, section 4.
func (r *Rig) Ready() {
	s, c := math.Sincos(r.Lat)
	pole, equator, west, up := V{0, c, s}, V{0, -s, c}, V{-1, 0, 0}, V{0, 0, 1}
	toward := 1.0 // elevated pole
	if r.Lat < 0 {
		toward = -1
	}
	switch r.Kind {
	case German:
		r.d1, r.d2, r.tube = pole.times(-1), equator.times(toward), pole.times(toward)
	case Fork:
		r.d1, r.d2, r.tube = pole.times(-1), west, equator
	default:
		r.d1, r.d2, r.tube = up.times(-1), west.times(-1), V{0, 1, 0}
	}
	for _, d := range []*V{&r.d1, &r.d2, &r.tube} {
		*d = d.turned(V{1, 0, 0}, toward*r.TiltUp).turned(up, -toward*r.TiltEast)
	}
	r.p1 = V{0, 0, r.Crossing}
	beside := r.tube      // forks and alt-azimuths: where the tube points
	if r.Kind == German { // left of somebody who looks along the tube, the saddle up
		beside = r.d2.times(toward).cross(r.tube)
	}
	r.p2 = r.p1.add(beside.times(r.Apart))
	r.measure(toward)
}

// measure fills in the frames in which parts are measured (testdata/README.md).
func (r *Rig) measure(toward float64) {
	r.frames[Ground] = frame{V{}, V{1, 0, 0}, V{0, 1, 0}, V{0, 0, 1}}
	x, end := r.d2, r.d1.times(-1)
	if r.equatorial() {
		x, end = r.d2.times(toward), r.d1.times(-toward)
	}
	r.frames[OnAxis1] = frame{r.p1, x, end, x.cross(end)}
	r.frames[OnAxis2] = frame{r.p2, x, r.tube, x.cross(r.tube)}
}

// direction is where the tube points at a pose.
func (r *Rig) direction(a Axes) V { return r.tube.turned(r.d2, a[1]).turned(r.d1, a[0]) }

// side is the side of a pose.
func (r *Rig) side(a Axes) string {
	a2 := wrap(a[1])
	switch {
	case r.Kind == German && a2 >= 0:
		return East
	case r.Kind == German:
		return West
	case math.Abs(a2) <= math.Pi/2:
		return First
	}
	return Second
}

func otherSide(s string) string {
	return map[string]string{East: West, West: East, First: Second, Second: First}[s]
}

func (r *Rig) sides() []string {
	if r.Kind == German {
		return []string{East, West}
	}
	return []string{First, Second}
}

// ideal is the pose of a perfect mount for hour angle and declination, or azimuth and altitude: design, section 4.
func (r *Rig) ideal(lon, height float64, side string) Axes {
	q := math.Pi/2 - height
	if r.Lat < 0 {
		q = math.Pi/2 + height
	}
	switch side {
	case East:
		return Axes{lon - math.Pi/2, q}
	case West:
		return Axes{lon + math.Pi/2, -q}
	case Second:
		return Axes{lon + math.Pi, math.Pi - height}
	}
	return Axes{lon, height}
}

// unideal is the inverse.
func (r *Rig) unideal(a Axes) (lon, height float64, side string) {
	side = r.side(a)
	height = math.Pi/2 - math.Abs(wrap(a[1]))
	if r.Lat < 0 {
		height = -height
	}
	switch side {
	case East:
		return wrap(a[0] + math.Pi/2), height, side
	case West:
		return wrap(a[0] - math.Pi/2), height, side
	case Second:
		return wrap(a[0] - math.Pi), wrap(math.Pi - a[1]), side
	}
	return wrap(a[0]), wrap(a[1]), side
}

// skylineAt is how high something stands at an azimuth.
func (r *Rig) skylineAt(az float64) float64 {
	n := len(r.Skyline)
	if n == 0 {
		return 0
	}
	for i, p := range r.Skyline {
		q := r.Skyline[(i+1)%n]
		span, from := math.Mod(q[0]-p[0]+4*math.Pi, 2*math.Pi), math.Mod(az-p[0]+4*math.Pi, 2*math.Pi)
		if span == 0 {
			return p[1]
		}
		if from <= span {
			return p[1] + (q[1]-p[1])*from/span
		}
	}
	return math.Pi / 2
}
