package slow

import "math"

// ramp is how far an axis has come after a time, and how long it takes in all: speeding up, going on, slowing down.
func ramp(whole, rate, accel, t float64) float64 {
	up := min(rate/accel, math.Sqrt(whole/accel))
	top, total := accel*up, rampTime(whole, rate, accel)
	switch {
	case t >= total || whole == 0:
		return whole
	case t < up:
		return accel * t * t / 2
	case t > total-up:
		return whole - accel*(total-t)*(total-t)/2
	}
	return top*up/2 + top*(t-up)
}

func rampTime(whole, rate, accel float64) float64 {
	if whole == 0 {
		return 0
	}
	up := min(rate/accel, math.Sqrt(whole/accel))
	return up + whole/(accel*up)
}

// leg is one stretch of a motion.
type leg struct {
	from, to Axes
	sharing  string
	rate     [2]float64
	accel    [2]float64
	lot      func() float64 // in [0, 1], of an order that is not known
}

func (l *leg) times() (one, two float64) {
	return rampTime(math.Abs(l.to[0]-l.from[0]), l.rate[0], l.accel[0]), rampTime(math.Abs(l.to[1]-l.from[1]), l.rate[1], l.accel[1])
}

// seconds is how long it takes.
func (l *leg) seconds() float64 {
	one, two := l.times()
	if l.sharing == "straight" || l.sharing == "independent" {
		return max(one, two)
	}
	return one + two
}

// at is the pose after a share of the time.
func (l *leg) at(s float64) Axes {
	one, two := s, s
	t1, t2 := l.times()
	switch l.sharing {
	case "straight":
	case "independent":
		t := s * l.seconds()
		one, two = l.share(0, t), l.share(1, t)
	case "axis 1 first":
		one, two = l.share(0, s*(t1+t2)), l.share(1, s*(t1+t2)-t1)
	case "axis 2 first":
		one, two = l.share(0, s*(t1+t2)-t2), l.share(1, s*(t1+t2))
	default:
		if two = l.lot(); s == 0 || s > 1-1e-9 { // ways that never turn back fill the rectangle between the ends
			two = s
		}
	}
	return Axes{l.from[0] + (l.to[0]-l.from[0])*one, l.from[1] + (l.to[1]-l.from[1])*two}
}

func (l *leg) share(axis int, t float64) float64 {
	whole := math.Abs(l.to[axis] - l.from[axis])
	if whole == 0 || t <= 0 {
		return 0
	}
	return ramp(whole, l.rate[axis], l.accel[axis], t) / whole
}

// motion is stretches one after the other.
type motion struct {
	legs []leg
	ends []float64 // of each, seconds from the begin
}

func (m *motion) seconds() float64 {
	if len(m.ends) == 0 {
		return 0
	}
	return m.ends[len(m.ends)-1]
}

// at is the pose after a share of the way: each stretch counts as much.
func (m *motion) at(s float64) (a Axes, t float64) {
	i := min(int(s*float64(len(m.legs))), len(m.legs)-1)
	within, before := s*float64(len(m.legs))-float64(i), 0.0
	if i > 0 {
		before = m.ends[i-1]
	}
	return m.legs[i].at(within), before + within*(m.ends[i]-before)
}

// motion is the way from a start to an end in the mount's manner, by the poses that it always goes by, all off by as much.
func (j *judging) motion(start Axes, e *end, off Axes, flips bool) motion {
	r := j.r
	sharing, rate := r.Sharing, r.Rate
	var stops []Axes
	switch {
	case j.q.Kind == "home":
		if sharing = r.HomeOrder; j.q.Order != "" {
			sharing = j.q.Order
		}
	case j.byAsMuch():
		for i := range rate {
			if j.q.Rate > 0 {
				rate[i] = min(rate[i], j.q.Rate)
			}
		}
	default:
		stops = append(stops, r.Via...)
		if flips {
			stops = append(stops, r.FlipVia...)
		}
	}
	var m motion
	lot := func() float64 { return (j.corner() + 1) / 2 }
	from := start
	for _, to := range append(offBy(stops, off), e.axes) {
		l := leg{from, to, sharing, rate, r.Accel, lot}
		m.legs, m.ends = append(m.legs, l), append(m.ends, m.seconds()+l.seconds())
		from = to
	}
	return m
}

func offBy(all []Axes, off Axes) []Axes {
	var out []Axes
	for _, a := range all {
		out = append(out, a.add(off))
	}
	return out
}
