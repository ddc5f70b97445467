package sky

import (
	"errors"
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// ErrSpan says that a search is empty or too long; ErrCurve that what is searched has no finite value somewhere.
var (
	ErrSpan  = errors.New("span of a search refused")
	ErrCurve = errors.New("no finite angle to compare with the limit")
)

// MaxSpan is the longest search, a work budget: 57,600 samples, about 90 ms.
const MaxSpan = 400 * 24 * time.Hour

// sampling is the step of the search. An altitude has its turning points half a day apart, so two crossings within a step are
// found by the turning point between them; a curve that turns twice within 20 minutes may lose a pair.
const sampling = 10 * time.Minute

// resolution is how finely a crossing is placed: 0.015″ of the sky's turn.
const resolution = time.Millisecond

// Standard altitudes of the centre without air for almanac times: they contain 34′ of refraction, and the Sun's radius of 16′.
// Source: almanac practice.
const (
	StarRise             = -34 * unit.Arcminute
	SunRise              = -50 * unit.Arcminute
	CivilTwilight        = -6 * unit.Degree
	NauticalTwilight     = -12 * unit.Degree
	AstronomicalTwilight = -18 * unit.Degree
)

// Curve is an angle that changes with time, such as an altitude. It has to be continuous.
type Curve func(*Moment) unit.Angle

// Crossing is an instant at which a curve passes a limit.
type Crossing struct {
	At     timescale.Instant
	Rising bool
}

// Passage is what a curve does to a limit within a span. Without crossings Above holds throughout: a star that never
// sets, a Sun that never rises.
type Passage struct {
	Above     bool // at the start; at the limit counts as above
	Crossings []Crossing
}

// Cross finds where a curve passes a limit in [m, m + span), each crossing within a millisecond, in order.
func Cross(m *Moment, span time.Duration, curve Curve, limit unit.Angle) (Passage, error) {
	if span <= 0 || span > MaxSpan {
		return Passage{}, fmt.Errorf("%w: %v, want above 0 and at most %v", ErrSpan, span, MaxSpan)
	}
	s := search{curve: curve, limit: limit, from: m.instant, until: m.instant.Add(span)}
	passage := Passage{Above: s.at(m).above}
	// One step more at either end shows a turning point that lies in the first or the last one.
	a := s.at(m.After(-sampling))
	b := s.at(a.moment.After(sampling))
	for !s.until.Add(sampling).Before(b.moment.instant) {
		c := s.at(b.moment.After(sampling))
		s.between(a, b, c)
		a, b = b, c
	}
	if s.broken {
		return Passage{}, fmt.Errorf("%w between %s and %s", ErrCurve, s.from, s.until)
	}
	passage.Crossings = s.found
	return passage, nil
}

type search struct {
	curve       Curve
	limit       unit.Angle
	from, until timescale.Instant
	found       []Crossing
	broken      bool
}

// sample is the curve, less the limit, at one moment.
type sample struct {
	moment *Moment
	value  float64
	above  bool
}

func (s *search) at(m *Moment) sample {
	v := float64(s.curve(m) - s.limit)
	s.broken = s.broken || math.IsNaN(v)
	return sample{m, v, v >= 0}
}

// between records the crossings that three neighbours show for the first time: one between a and b where their signs differ; a
// pair around b, where the curve turns back between a and c and the turning point lies beyond the limit.
func (s *search) between(a, b, c sample) {
	if a.above != b.above {
		s.cross(a, b)
		return
	}
	if b.above != c.above {
		return // the next call sees it
	}
	if toward := sign(a.above); toward*b.value < toward*a.value && toward*b.value <= toward*c.value {
		if turn := s.turningPoint(a, c, toward); turn.above != a.above {
			s.cross(a, turn)
			s.cross(turn, c)
		}
	}
}

// sign is 1 where a curve would have to fall to cross, -1 where it would have to rise.
func sign(above bool) float64 {
	if above {
		return 1
	}
	return -1
}

// cross halves the time between two samples on different sides down to the resolution.
func (s *search) cross(a, b sample) {
	for b.moment.instant.Sub(a.moment.instant) > resolution {
		mid := s.at(a.moment.After(b.moment.instant.Sub(a.moment.instant) / 2))
		if mid.above == a.above {
			a = mid
		} else {
			b = mid
		}
	}
	if at := b.moment.instant; !at.Before(s.from) && at.Before(s.until) {
		s.found = append(s.found, Crossing{at, b.above})
	}
}

// turningPoint finds the least of toward·value between two samples, or the first point seen beyond the limit.
// Method: golden section (Kiefer 1953, Proc. AMS 4, 502).
func (s *search) turningPoint(a, c sample, toward float64) sample {
	const golden = 0.3819660112501051
	part := func(k float64) sample {
		return s.at(a.moment.After(time.Duration(k * float64(c.moment.instant.Sub(a.moment.instant)))))
	}
	p, q := part(golden), part(1-golden)
	for p.above == a.above && q.above == a.above && c.moment.instant.Sub(a.moment.instant) > resolution {
		if toward*p.value <= toward*q.value {
			c, q = q, p
			p = part(golden)
		} else {
			a, p = p, q
			q = part(1 - golden)
		}
	}
	if q.above != a.above || toward*q.value < toward*p.value {
		return q
	}
	return p
}

// StarAltitude is the observed altitude of a star; with the zero Air its altitude without air.
func StarAltitude(star frame.Vec[frame.ICRS], p Place, air Air) Curve {
	return func(m *Moment) unit.Angle { return air.Observed(frame.Altitude(m.Horizon(m.Apparent(star), p))) }
}

// SunAltitude is the observed altitude of the Sun's centre; with the zero Air its altitude without air.
func SunAltitude(p Place, air Air) Curve {
	return func(m *Moment) unit.Angle { return air.Observed(frame.Altitude(m.SunFrom(p))) }
}

// StarWest is how far a star stands west of the meridian plane, [-90°, 90°]. It rises through 0 at the upper transit and falls
// through 0 at the lower; at the pole it is 0.
func StarWest(star frame.Vec[frame.ICRS], p Place) Curve {
	return func(m *Moment) unit.Angle { return west(m.Hour(m.Apparent(star), p.longitude)) }
}

// SunWest is the same for the Sun.
func SunWest(p Place) Curve {
	return func(m *Moment) unit.Angle { return west(m.Hour(m.Sun(), p.longitude)) }
}

func west(v frame.Vec[frame.Hour]) unit.Angle {
	return unit.Angle(math.Atan2(-v.Y, math.Hypot(v.X, v.Z)))
}
