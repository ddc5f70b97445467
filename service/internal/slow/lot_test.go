package slow_test

import (
	"math"
	"math/rand/v2"
	"time"

	"keepclear.example/keepclear/service/internal/slow"
)

// lot draws a question to a rig.
type lot struct {
	*stood
	rng   *rand.Rand
	q     slow.Question
	lst   float64 // ours
	ahead slow.Axes
}

// draw draws question n of a rig.
func (s *stood) draw(n int) *slow.Question {
	l := &lot{stood: s, rng: rand.New(rand.NewPCG(uint64(n), 2718))}
	l.q.At = time.Date(2019+l.rng.IntN(25), 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(l.rng.Int64N(366*86400)) * time.Second)
	l.lst = slow.Sidereal(l.q.At, s.slow.Lon)
	l.state()
	l.action()
	l.creeps(n)
	for range pick(l.rng, 0, 0, 0, 1, 1, 1, 1, 2) {
		l.spoil()
	}
	l.drifts()
	l.synced(n)
	return &l.q
}

// synced draws syncs seen since the homing, from numbers of their own: others would be drawn otherwise.
func (l *lot) synced(n int) {
	own := rand.New(rand.NewPCG(uint64(n), 1618))
	if own.IntN(3) == 0 {
		by := pick(own, 0.3, 1, 1.5) * degree
		l.q.State.Synced = [2]float64{by * own.NormFloat64(), by * own.NormFloat64()}
	}
	if own.IntN(6) == 0 {
		l.q.State.Kept, l.q.State.KeptSure = [2]float64{degree * own.NormFloat64(), degree * own.NormFloat64()}, own.IntN(2) == 0
	}
}

func (l *lot) between(low, high float64) float64 { return low + l.rng.Float64()*(high-low) }
func (l *lot) one(of int) bool                   { return l.rng.IntN(of) == 0 }

func (l *lot) scatter(deg float64) slow.Axes {
	return slow.Axes{deg * degree * l.rng.NormFloat64(), deg * degree * l.rng.NormFloat64()}
}

func plus(a, b slow.Axes) slow.Axes { return slow.Axes{a[0] + b[0], a[1] + b[1]} }

// somewhere is a pose within travel, mostly where the rig can stand and its tube looks up.
func (l *lot) somewhere() slow.Axes {
	r := &l.slow.Low
	var a slow.Axes
	for range 12 {
		a = slow.Axes{l.between(r[0], l.slow.High[0]), l.between(r[1], l.slow.High[1])}
		if l.slow.Altitude(a) > 2*degree && l.slow.Clear(a, l.drawn.limits) > 15 || l.one(12) {
			break
		}
	}
	return a
}

// state draws a rig of which all is well.
func (l *lot) state() {
	st, m := &l.q.State, &l.q.State.Sample
	at := l.somewhere()
	if l.one(5) {
		at = plus(pick(l.rng, l.slow.Home, l.slow.Rests[0]), l.scatter(0.1))
	}
	sigma := pick(l.rng, 0.02, 0.1, 0.1, 0.3, 0.6, 1)
	st.Places = []slow.Place{{Axes: at, Sigma: slow.Axes{sigma * degree * l.between(0.3, 1), sigma * degree * l.between(0.3, 1)}}}
	st.Known, st.Counts = true, l.one(2)
	st.Clock.Kernel = ptr(l.between(0, 1))
	m.Time, m.Doing = ptr(-l.between(0, 2)), pick(l.rng, "at rest", "at rest", "tracking")
	l.ahead = slow.Axes{}
	if !l.one(3) {
		l.ahead = l.scatter(pick(l.rng, 0.05, 0.3, 0.8))
	}
	l.believe(0, l.slow.Lat, l.slow.Lon)
	l.q.Sent = ptr(-l.between(0, 0.5))
	l.q.Attended = l.one(2)
	if l.one(2) || !l.q.Attended {
		st.Proof = &slow.Proof{Residual: l.between(0, 9), Days: l.between(0, 360)}
	}
	if l.slow.Stop.Kind == "mount limit" && l.one(2) {
		st.Limit = ptr(l.between(l.slow.Low[l.slow.Stop.Axis], l.slow.High[l.slow.Stop.Axis]))
	}
	if len(l.slow.Parts) > 0 && l.one(3) {
		m.Parts = []slow.Report{{Part: "focuser", Measure: ptr(l.between(0, 90))}}
	}
}

// believe makes the sample of a mount whose clock is ahead of ours, with a site of its own.
func (l *lot) believe(clock, lat, lon float64) {
	m := &l.q.State.Sample
	if len(l.q.State.Places) == 0 {
		return
	}
	t := 0.0
	if m.Time != nil {
		t = *m.Time
	}
	lst := l.lst + t*2*math.Pi*1.00273781191135448/86400 + clock
	counters := plus(l.q.State.Places[0].Axes, l.ahead)
	ra, dec, side := l.slow.ToSky(lst, lat, counters)
	m.Belief = &slow.Sky{RA: ra, Dec: dec}
	m.Side = side
	if l.one(4) && !l.slow.SideSensed {
		m.Side = ""
	}
	m.LST = ptr(math.Mod(lst+8*math.Pi, 2*math.Pi))
	if !l.slow.TellsLST && l.slow.Kind != slow.AltAz && clock == 0 && l.one(2) {
		m.LST = nil
	}
	m.Site = &[2]float64{lat, lon}
	if !l.slow.TellsSite && l.slow.Kind != slow.AltAz && l.one(2) && lat == l.slow.Lat {
		m.Site = nil
	}
}

// action draws what is asked.
func (l *lot) action() {
	q := &l.q
	q.Kind = pick(l.rng, "slew", "slew", "slew", "slew", "retreat", "sync", "sync", "sync", "track", "jog", "home", "park", "flip", "slew")
	q.BeginLater = l.one(5)
	follows := 0.0
	if l.one(3) {
		follows = math.Round(pick(l.rng, l.between(10, 600), l.between(600, 8000)))
	}
	switch q.Kind {
	case "slew":
		q.Follow = follows
		l.target()
	case "retreat":
		q.Axes = ptr(pick(l.rng, l.slow.Home, l.slow.Rests[0]))
		if l.one(5) {
			q.Follow = follows
		}
	case "jog":
		by := l.scatter(pick(l.rng, 1.0, 10, 40))
		if l.one(3) { // about to the end of an axis
			i, at := l.rng.IntN(2), q.State.Places[0].Axes
			by = slow.Axes{}
			by[i] = pick(l.rng, l.slow.Low[i], l.slow.High[i]) - at[i] + l.between(-3, 5)*degree
		}
		q.Axes = &by
		if l.one(2) {
			q.Rate = l.between(0.1, 1) * degree
		}
		if l.one(5) {
			q.Follow = follows
		}
	case "track":
		q.Follow = math.Round(pick(l.rng, l.between(10, 900), l.between(900, 9000)))
	case "home":
		if l.one(4) {
			q.Order = pick(l.rng, "axis 1 first", "axis 2 first", "independent")
		}
	case "flip":
		q.Follow = follows
	case "sync":
		l.solve()
	}
}

// creeps makes every so many questions a creep, by numbers of its own, so that all others stay what they are.
func (l *lot) creeps(n int) {
	own := *l
	own.rng = rand.New(rand.NewPCG(uint64(n), 5772))
	if !own.one(oneIn) {
		return
	}
	q := &own.q
	by, i := slow.Axes{}, own.rng.IntN(2)
	by[i] = own.between(0.1, pick(own.rng, 2.0, 5, 15)) * pick(own.rng, 1.0, -1) * degree
	if !own.one(4) {
		at, out := own.tooNear()
		q.State.Places[0].Axes = at
		if !own.one(3) { // the way out, by and large
			i = 0
			if math.Abs(out[1]) > math.Abs(out[0]) {
				i = 1
			}
			whole := math.Abs(by[0] + by[1])
			by = slow.Axes{}
			by[i] = math.Copysign(whole, out[i])
		}
		if q.State.Sample.Belief != nil {
			own.believe(0, l.slow.Lat, l.slow.Lon)
		}
	}
	q.Kind, q.Axes, q.Rate = "creep", &by, own.between(0.05, 0.5)*degree
	q.Sky, q.Side, q.Follow, q.Order, q.Solve, q.Given = nil, "", 0, "", nil, nil
	l.q = own.q
}

// oneIn is of how many questions one is a creep.
const oneIn = 12

// tooNear is a pose at which parts are too near, or touch, and a way from there to where they are not.
func (l *lot) tooNear() (at, out slow.Axes) {
	for range 10 {
		clear, to := l.somewhere(), slow.Axes{l.between(l.slow.Low[0], l.slow.High[0]), l.between(l.slow.Low[1], l.slow.High[1])}
		way := slow.Axes{to[0] - clear[0], to[1] - clear[1]}
		pose := func(s float64) slow.Axes { return slow.Axes{clear[0] + s*way[0], clear[1] + s*way[1]} }
		spare := l.slow.Clears(l.drawn.limits)
		for s := 0.0; s < 1; s += 0.01 {
			if spare(pose(s)) < 0 {
				for deeper := l.between(0, 3) * degree; s > 0 && deeper > 0; deeper -= 0.1 * degree {
					s = min(1, s+0.1*degree/math.Hypot(way[0], way[1]))
				}
				return pose(s), slow.Axes{-way[0], -way[1]}
			}
		}
	}
	return l.somewhere(), slow.Axes{1, 0}
}

// target draws where a slew goes: a pose that can be reached, or anywhere.
func (l *lot) target() {
	q := &l.q
	to := l.somewhere()
	if l.one(7) {
		q.Axes = &to
		return
	}
	ra, dec, side := l.slow.ToSky(l.lst, l.slow.Lat, to)
	if l.one(8) {
		ra, dec = l.between(0, 2*math.Pi), math.Asin(l.between(-1, 1))
	}
	q.Sky = &slow.Sky{RA: ra, Dec: dec, ICRS: l.one(3)}
	if !l.one(6) {
		q.Side = side
	}
}

// spoil makes one thing wrong.
func (l *lot) spoil() {
	if l.q.Kind == "sync" && !l.one(3) {
		l.spoilSolve()
		return
	}
	st, m, q := &l.q.State, &l.q.State.Sample, &l.q
	if len(st.Places) == 0 {
		return
	}
	switch l.rng.IntN(21) {
	case 0:
		m.Time = ptr(-l.between(5, 40))
	case 1:
		m.Time = nil
	case 2, 3:
		st.Places[0].Sigma = slow.Axes{l.between(0.3, 2.5) * degree, l.between(0.3, 2.5) * degree}
	case 4, 5:
		l.ahead = l.scatter(pick(l.rng, 2.0, 4, 8, 40))
		l.believe(0, l.slow.Lat, l.slow.Lon)
	case 6:
		m.Belief = nil
	case 7:
		l.believe(pick(l.rng, 0.3, 1, 15)*degree*l.rng.NormFloat64(), l.slow.Lat, l.slow.Lon)
	case 8:
		l.believe(0, l.slow.Lat+l.between(-1, 1)*degree, l.slow.Lon+l.between(-1, 1)*degree)
	case 9:
		m.LST, m.Site = pick(l.rng, m.LST, nil), pick(l.rng, m.Site, nil)
	case 10:
		q.Sent = ptr(l.between(-20, 20))
	case 11:
		l.spoilClock()
	case 12, 13:
		q.Attended, st.Proof = false, pick(l.rng, nil, &slow.Proof{Residual: l.between(5, 20), Days: 10}, &slow.Proof{Days: l.between(200, 800)}, &slow.Proof{Void: true})
	case 14:
		st.Locks = 1 + l.rng.IntN(2)
	case 15:
		l.secondPlace()
	case 16:
		st.Known, st.Places = false, nil
	case 17:
		st.Unheard = true
	case 19, 20: // belief off by a little on the sky, which is much of axis 1 near its end
		off := l.between(8, 22) * degree
		at := &st.Places[0].Axes
		switch l.slow.Kind {
		case slow.German:
			at[1] = math.Copysign(off, at[1])
		case slow.Fork:
			at[1] = math.Copysign(math.Pi/2-off, l.slow.Lat)
		default:
			off = math.Cos(l.slow.Decline(*at))
		}
		l.ahead = slow.Axes{l.between(1, 2.9) * degree / max(off, 0.03), 0}
		l.believe(0, l.slow.Lat, l.slow.Lon)
	case 18:
		m.Doing = "moving"
		m.Time = ptr(-l.between(0, 3))
	}
}

func (l *lot) spoilClock() {
	c := &l.q.State.Clock
	*c = slow.Clock{}
	switch l.rng.IntN(4) {
	case 0:
		c.Jumped, c.Kernel = true, ptr(0.1)
	case 1:
		c.Kernel = ptr(l.between(5, 60))
	case 2:
		c.Good = &slow.Stated{Ago: l.between(0, 8e5), Bound: l.between(0, 10)}
	}
}

// secondPlace makes the pose one of two.
func (l *lot) secondPlace() {
	st := &l.q.State
	if len(st.Places) == 0 {
		return
	}
	other := st.Places[0]
	other.Axes = plus(other.Axes, l.scatter(pick(l.rng, 3.0, 30)))
	if l.one(3) {
		other.Axes = slow.Axes{other.Axes[0] + math.Pi*pick(l.rng, 1.0, -1), -other.Axes[1]}
	}
	st.Known, st.Places = false, append(st.Places, other)
}
