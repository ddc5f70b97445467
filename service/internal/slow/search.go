package slow

import (
	"math"
	"slices"
)

// Looking closely: where a way comes nearest to a limit, and not only whether it does at some poses of it.

// place is a pose of a way: after a share of a stretch, or of a rectangle after a share of each axis; off it by a part of a box.
type place struct {
	leg      int
	one, two float64 // [0, 1]
	off      Axes    // [-1, 1] each
}

// pose is where that is, for a box so wide, and how many seconds after the begin.
func (m *motion) pose(p *place, box Axes) (Axes, float64) {
	l, before := &m.legs[p.leg], 0.0
	if p.leg > 0 {
		before = m.ends[p.leg-1]
	}
	a := l.at(p.one)
	if l.anyOrder() {
		a[1] = l.from[1] + (l.to[1]-l.from[1])*p.two
	}
	return a.add(p.off.times(box)), before + p.one*(m.ends[p.leg]-before)
}

// anyOrder tells whether any way that never turns back may be taken.
func (l *leg) anyOrder() bool {
	return l.sharing != "straight" && l.sharing != "independent" && l.sharing != "axis 1 first" && l.sharing != "axis 2 first"
}

// descend goes from a place to where something is least nearby: in steps along each of what a place is made of, halved where none leads
// lower; rect: of a rectangle, wide: off it too.
func descend(from place, rect, wide bool, of func(*place) float64) place {
	at, least := from, of(&from)
	for step := 0.25; step > 0.002; {
		best, low := at, least
		for i := range 4 {
			if i == 1 && !rect || i > 1 && !wide {
				continue
			}
			for _, by := range []float64{-step, step} {
				next := at.moved(i, by)
				if next == at {
					continue
				}
				if v := of(&next); v < low {
					best, low = next, v
				}
			}
		}
		if low >= least {
			step /= 2
			continue
		}
		at, least = best, low
	}
	return at
}

// moved is a place moved along one of what it is made of, as far as that goes.
func (p place) moved(i int, by float64) place {
	switch i {
	case 0:
		p.one = min(1, max(0, p.one+by/8))
	case 1:
		p.two = min(1, max(0, p.two+by/8))
	default:
		p.off[i-2] = min(1, max(-1, p.off[i-2]+4*by))
	}
	return p
}

// marched is how finely a way is looked at, mm: nothing thicker than this between two poses is missed.
const marched = 3.0

// farLooked is how far clearances are looked at on the march, mm.
const farLooked = 60

// searched are the rules whose least on a way is looked for.
func (p *play) searched() []string {
	return slices.DeleteFunc([]string{"clear/path", "sky/floor", "sun/apart"}, func(rule string) bool { return !p.about(rule) })
}

// closely looks at the whole way: so that no part comes nearer between two poses than marched, and at the least of each rule; wide: also in all
// that a proof may add.
func (p *play) closely(wide bool) {
	worst, least, rules := map[string]place{}, map[string]float64{"clear/path": farLooked}, p.searched()
	for i := range p.way.legs {
		p.march(i, func(at place) (float64, float64) {
			a, t := p.way.pose(&at, Axes{})
			here := float64(farLooked)
			if p.about("clear/path") {
				here = p.scene.spare(a, farLooked)
			}
			floor, apart := p.pointed(a, p.wait+t, here, false, false)
			for _, rule := range rules {
				v := here
				switch rule {
				case "sky/floor":
					v = floor
				case "sun/apart":
					v = apart
				}
				if old, ok := least[rule]; !ok || v < old {
					worst[rule], least[rule] = at, v
				}
			}
			return here, least["clear/path"]
		})
	}
	box := p.more
	if !p.sharp {
		box = box.add(p.places[p.from].Sigma.times(Axes{3, 3}))
	}
	for _, rule := range rules {
		p.around(rule, worst[rule], Axes{}, Axes{}, false)
		if wide {
			p.around(rule, worst[rule], box, p.wild, true)
		}
	}
	for i := range p.way.legs { // travel is least in a corner of where a stretch ends
		for _, u := range []Axes{{-1, -1}, {-1, 1}, {1, -1}, {1, 1}} {
			if wide {
				p.travel(p.way.legs[i].to.sub(p.wild).add(u.times(box)), 0, false, true)
			}
		}
	}
}

// around takes in the least of a rule near a place, within a box about the way, shifted back.
func (p *play) around(rule string, from place, box, back Axes, wide bool) {
	at := descend(from, p.way.legs[from.leg].anyOrder(), wide, func(at *place) float64 {
		a, t := p.way.pose(at, box)
		return p.rule(rule, a.sub(back), p.wait+t, wide)
	})
	a, t := p.way.pose(&at, box)
	p.point(a.sub(back), p.wait+t, false, wide)
}

// march goes along one stretch, as far at a time as no part may come nearer meanwhile than it is already, and calls on each place.
func (p *play) march(leg int, note func(place) (here, least float64)) {
	l := &p.way.legs[leg]
	if l.anyOrder() {
		for range 150 {
			note(place{leg: leg, one: p.rng.Float64(), two: p.rng.Float64()})
		}
		return
	}
	turn := l.to.sub(l.from)
	one, two := math.Abs(turn[0])*p.scene.far[0], math.Abs(turn[1])*p.scene.far[1]
	for s := 0.0; ; {
		at := place{leg: leg, one: s}
		here, least := note(at)
		if s >= 1 || least < tooNear {
			return
		}
		s = l.reached(s, max(marched, here-min(least, 5)), Axes{one, two})
	}
}

// reached is the share of a stretch at which nothing has moved farther than so much since another, of what axis 1 and axis 2 move by in all.
func (l *leg) reached(since, far float64, moves Axes) float64 {
	from := l.turned(since)
	low, high := since, min(1, since+0.1)
	by := func(s float64) float64 {
		d := l.turned(s).sub(from)
		return math.Abs(d[0])*moves[0] + math.Abs(d[1])*moves[1]
	}
	if by(high) <= far {
		return high
	}
	for range 12 {
		if m := (low + high) / 2; by(m) <= far {
			low = m
		} else {
			high = m
		}
	}
	return max(low, since+1e-4)
}

// turned is how much of its turn each axis has made.
func (l *leg) turned(s float64) Axes {
	a := l.at(min(s, 1-1e-12))
	if s >= 1 {
		a = l.to
	}
	var out Axes
	for i := range out {
		if l.to[i] != l.from[i] {
			out[i] = (a[i] - l.from[i]) / (l.to[i] - l.from[i])
		}
	}
	return out
}

// rule is what a rule has to spare at a pose.
func (p *play) rule(rule string, a Axes, t float64, wide bool) float64 {
	switch rule {
	case "clear/path":
		high := p.scene.spare(a, farLooked)
		return high
	case "sky/floor":
		_, alt := p.r.direction(a).azAlt()
		return alt/degree - p.limit("sky/floor altitude_deg")
	}
	sun, up := p.sunUp(t, wide)
	if !up {
		return 180
	}
	return p.r.direction(a).angle(sun)/degree - p.limit("sun/apart separation_deg")
}
