package timescale

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/unit"
)

const (
	utcBound      = 900 * time.Millisecond // |UT1-UTC|: ITU-R TF.460-6, annex 1
	utcBoundUntil = 2051222400             // 2035-01-01 as a Unix count: CGPM 2022 resolution 4 lets the bound grow by then
	// dayExcess bounds how far a day of UT1 differs from 86,400 s, and so how fast a stated UT1-UTC goes stale.
	// The largest excess in the IERS C04 series is 4.4 ms (July 1972); from memory, rounded up.
	dayExcess = 5 * time.Millisecond
)

// EarthTurn is the angle by which the Earth turns in a second of UT1, 15.041067″.
// Source: IERS Conventions 2010, eq. 5.15: 1.00273781191135448 turns a day.
const EarthTurn = unit.Angle(1.00273781191135448 / 86400 * 2 * math.Pi)

// UT1 is what is known of UT1. The zero value is the ignorance of an offline site: UT1 = UTC within 0.9 s.
type UT1 struct {
	stated bool
	behind int64 // TAI-UT1 at at, nanoseconds: smooth across leap seconds, which UT1-UTC is not
	bound  time.Duration
	at     Instant
}

// StatedUT1 is UT1-UTC as published for an instant (IERS Bulletins A and D, or C04), with its bound then.
func StatedUT1(minusUTC, bound time.Duration, at Instant) (UT1, error) {
	if bound < 0 || minusUTC.Abs() > time.Minute {
		return UT1{}, fmt.Errorf("UT1-UTC stated as %v, bound %v: want within a minute, and a bound that is not negative", minusUTC, bound)
	}
	offset, _ := at.table.offsetTAI(at.tai)
	return UT1{true, offset*second - int64(minusUTC), bound, at}, nil
}

// Bound returns how far the true UT1 may be from what UT1 says at an instant. A stated value grows by 5 ms for each day
// from its own instant. Without one it is 0.9 s; from 2035 on UTC may be let go, and that grows by 5 ms a day too.
func (u UT1) Bound(i Instant) time.Duration {
	if u.stated {
		return u.bound + stale(math.Abs(float64(i.tai-u.at.tai)/float64(day)))
	}
	t, _ := i.UTC()
	return utcBound + stale(math.Max(0, float64(t.Unix()-utcBoundUntil)/86400))
}

// stale is how far UT1 may run away in some days.
func stale(days float64) time.Duration { return time.Duration(days * float64(dayExcess)) }

// Stated tells whether a person stated UT1.
func (u UT1) Stated() bool { return u.stated }

func (u UT1) taiMinusUT1(i Instant) int64 {
	if u.stated {
		return u.behind
	}
	offset, _ := i.table.offsetTAI(i.tai)
	return offset * second
}

// TableAge returns how long before the instant its table was issued.
func (i Instant) TableAge() time.Duration { return i.table.Age(i) }

// TableEnd returns the last instant of which its table speaks.
func (i Instant) TableEnd() time.Time { return i.table.goodUntil }

// Age returns how long before an instant the table was issued.
func (t Table) Age(i Instant) time.Duration {
	now, _ := i.UTC()
	return now.Sub(t.issued)
}

// Expired tells whether an instant lies past what the table speaks of.
func (t Table) Expired(i Instant) bool {
	now, _ := i.UTC()
	return !now.Before(t.goodUntil)
}

// TTBound returns by how much TT may be late because leap seconds have been inserted since the table ended: one for each
// June and December that ended since (the preferred dates of ITU-R TF.460-6, annex 1). It is 0 while the table is good.
func (i Instant) TTBound() time.Duration {
	if !i.table.Expired(i) {
		return 0
	}
	now, _ := i.UTC()
	return time.Duration(halfYears(now)-halfYears(i.table.goodUntil)) * time.Second
}

// halfYears counts the half years up to t.
func halfYears(t time.Time) int {
	n := 2 * t.Year()
	if t.Month() >= time.July {
		n++
	}
	return n
}

// ReadingBound returns how far the clock reading behind the instant may be from UTC because a leap second is near, or,
// past the end of the table, could be: 1 s within two seconds of it (a clock that repeats :59), else 0.5 s within twelve
// hours (a linear smear from noon to noon), else 0.
func (i Instant) ReadingBound() time.Duration {
	away := i.table.nearestLeap(i)
	switch {
	case away <= 2*time.Second:
		return time.Second
	case away <= 12*time.Hour:
		return 500 * time.Millisecond
	}
	return 0
}

// nearestLeap returns the distance to the nearest inserted second, known or, past the table, possible.
func (t Table) nearestLeap(i Instant) time.Duration {
	near := time.Duration(math.MaxInt64)
	for n := 1; n < len(t.rows); n++ {
		r := t.rows[n]
		near = min(near, time.Duration(i.tai-(r.unix-epochUnix+r.offset)*second).Abs())
	}
	if !t.Expired(i) {
		return near
	}
	now, _ := i.UTC()
	for _, d := range []time.Time{
		time.Date(now.Year(), time.January, 1, 0, 0, 0, 0, time.UTC),
		time.Date(now.Year(), time.July, 1, 0, 0, 0, 0, time.UTC),
		time.Date(now.Year()+1, time.January, 1, 0, 0, 0, 0, time.UTC),
	} {
		near = min(near, now.Sub(d).Abs())
	}
	return near
}
