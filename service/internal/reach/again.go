package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

const (
	// againApart is how far apart the poses are that SinksAgain looks at, on the axis that turns farther. Choice: what lies between two of them is
	// no more than half of that below both, twice as much where an axis runs at its full rate.
	againApart = 0.5 * unit.Degree
	// mostAgain bounds how many it looks at along one axis of a leg.
	mostAgain = 720
	// againShare of the spread is how far they are apart where that is farther. Choice.
	againShare = 8
)

// SinksAgain tells whether the tube may come more than tolerance below a level, counted as Lowest counts, after it stood at it or above for
// certain: both by the lowest within spread of each pose, on the way or on one of the ways in whatever order the axes move. It looks at poses,
// and so tells of what it sees; it proves nothing.
func (w Way) SinksAgain(chain *rig.Chain, up frame.Vec[frame.Rig], spread rig.Axes, level, tolerance unit.Angle) bool {
	again := again{field: field{by: shares(chain, up)}, spread: spread, level: level.Sin(), below: (level - tolerance).Sin()}
	risen := false
	for i := range w.legs {
		l := &w.legs[i]
		if l.kind == rectLeg {
			risen = again.across(l.from, l.to, risen)
		} else {
			risen = again.along(l, risen)
		}
	}
	return again.sank
}

// again is what SinksAgain goes by: sines of the two levels, and whether it sank.
type again struct {
	field        field
	spread       rig.Axes
	level, below float64
	sank         bool
}

// lowest is the least of the field about a pose, where it is v: of its middle, and of the corners and the middles of the sides of its spread. Of a pose beyond
// either level with all that its spread may add, which is no more than the turns, the middle stands for it.
func (a *again) lowest(at rig.Axes, v float64) float64 {
	if v < a.below || v-float64(a.spread.A1+a.spread.A2) >= a.level {
		return v
	}
	out := v
	for i := -1; i <= 1; i++ {
		for j := -1; j <= 1; j++ {
			v, _, _ := a.field.at(at.Add(rig.Axes{A1: a.spread.A1 * unit.Angle(i), A2: a.spread.A2 * unit.Angle(j)}))
			out = min(out, v)
		}
	}
	return out
}

// look takes one pose in, that is reached from one that stood above the level before, or not. It returns whether this one has.
func (a *again) look(at rig.Axes, v float64, risen bool) bool {
	v = a.lowest(at, v)
	a.sank = a.sank || risen && v < a.below
	return risen || v >= a.level
}

// along looks along a leg.
func (a *again) along(l *leg, risen bool) bool {
	n := a.looks(l.to.Sub(l.from).Abs().Max())
	for i := range n + 1 {
		at := l.point(l.lastMark() * float64(i) / float64(n))
		v, _, _ := a.field.at(at)
		risen = a.look(at, v, risen)
	}
	return risen
}

// across looks at all of a rectangle: each pose is reached from the one before it on either axis.
func (a *again) across(from, to rig.Axes, risen bool) bool {
	d := to.Sub(from)
	n, m := a.looks(d.A1.Abs()), a.looks(d.A2.Abs())
	row := make([]column, m+1)
	for j := range row {
		row[j].at = from.A2 + d.A2*unit.Angle(j)/unit.Angle(m)
		row[j].sin, row[j].cos = math.Sincos(float64(row[j].at))
	}
	for i := range n + 1 {
		one := from.A1 + d.A1*unit.Angle(i)/unit.Angle(n)
		w, before := a.field.over(one), risen
		for j := range row {
			c := &row[j]
			before = a.look(rig.Axes{A1: one, A2: c.at}, w[0]+c.cos*w[1]+c.sin*w[2], before || c.risen)
			c.risen = before
		}
	}
	return row[m].risen
}

// column is a place of axis 2 in a rectangle, and whether the way to there has risen.
type column struct {
	at       unit.Angle
	sin, cos float64
	risen    bool
}

// over is what f is made of by (1, cos a₂, sin a₂) at a place of axis 1.
func (f *field) over(a1 unit.Angle) (w [3]float64) {
	s, c := math.Sincos(float64(a1))
	for k := range w {
		w[k] = f.by[0][k] + c*f.by[1][k] + s*f.by[2][k]
	}
	return w
}

// looks is how many steps a turn is looked at in.
func (a *again) looks(turn unit.Angle) int {
	return int(min(mostAgain, 1+math.Ceil(float64(turn/max(againApart, a.spread.Max()/againShare)))))
}
