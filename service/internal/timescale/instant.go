// Package timescale turns a clock's reading of UTC into the scales that the sky needs: TAI, TT and UT1, as Julian dates in
// two parts. An Instant counts TAI in whole nanoseconds, so adding and comparing are exact, across leap seconds too.
//
// Readings. A time.Time, and a google.protobuf.Timestamp that it came from, knows no second :60 and may be smeared. It is
// read as plain UTC with days of 86,400 s. Around an inserted second that can be wrong by half a second (a clock smeared
// from noon to noon) or by one (a clock that repeats :59): ReadingBound says by how much, 7.5″ or 15″ of sky. Inside the
// second itself only arithmetic gets (Add); UTC and String then say so.
//
// The leap-second table is a value and has an end. After it the last offset goes on: UT1, and with it every direction
// over the ground, is counted from UTC and does not suffer; TT may be late by one second for each June or December since
// (TTBound), which moves the Sun by 0.04″ a second and the stars not at all.
//
// The room holds no Earth orientation data: UT1 is what a person states, or UTC with its bound. Polar motion (below 0.6″)
// and TDB - TT (below 2 ms) are left out. Valid from 1990 to the end of 2050; outside New returns ErrRange.
package timescale

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// ErrRange says that a reading lies outside the years for which the sky is computed: most often a board whose clock has no battery.
var ErrRange = errors.New("time outside " + Covered)

// Covered is the range in words, both years whole.
const Covered = "1990 to 2050"

const (
	epochUnix   = 946684800 // 2000-01-01 00:00:00, the zero of Instant in its own scale, as a Unix count
	epochJD     = 2451544.5 // the same as a Julian date
	second      = int64(time.Second)
	day         = 86400 * second
	ttMinusTAI  = 32184 * second / 1000 // 32.184 s, exact: IAU 1991 resolution A4, recommendation IV
	julianEpoch = 2451545.0             // J2000.0, TT
	century     = 36525.0               // days in a Julian century
)

// The range, half-open, as Unix counts of UTC: [1990-01-01, 2051-01-01).
const (
	rangeFrom  = 631152000
	rangeUntil = 2556144000
)

// Instant is a point in time with the table by which it reads as UTC. The zero Instant is 2000-01-01 00:00:00 TAI and
// has no table; New makes all others.
type Instant struct {
	tai   int64 // nanoseconds of TAI since 2000-01-01 00:00:00 TAI
	table Table
}

// JD is a Julian date in two parts, so that a nanosecond is not lost beside two million days.
//
// Invariant: Day ends in .5 (a midnight), Fraction is in [0, 1).
type JD struct{ Day, Fraction float64 }

// New makes an Instant of a reading of UTC. It refuses readings outside [1990-01-01, 2051-01-01) with ErrRange.
func New(t time.Time, table Table) (Instant, error) {
	unix := t.Unix()
	if unix < rangeFrom || unix >= rangeUntil {
		return Instant{}, fmt.Errorf("reading %s as UTC: %w: set the clock", t.UTC().Format(time.RFC3339), ErrRange)
	}
	offset := table.offset(unix)
	return Instant{(unix-epochUnix+offset)*second + int64(t.Nanosecond()), table}, nil
}

// Add returns the instant d later, in SI seconds: across an inserted leap second 23:59:59 + 1 s is 23:59:60. The sum is
// meant to stay within the range of New, which it does not check; it stops at the ends of int64 rather than wrap.
func (i Instant) Add(d time.Duration) Instant {
	sum := i.tai + int64(d)
	switch {
	case d > 0 && sum < i.tai:
		sum = math.MaxInt64
	case d < 0 && sum > i.tai:
		sum = math.MinInt64
	}
	return Instant{sum, i.table}
}

// Sub returns the SI seconds from j to i.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i.tai - j.tai) }

// Before tells whether i is earlier than j.
func (i Instant) Before(j Instant) bool { return i.tai < j.tai }

// UTC returns the instant as a clock reads it. Within an inserted second, 23:59:60, which time.Time cannot hold, leap is
// true and t repeats 23:59:59 with the same fraction.
func (i Instant) UTC() (t time.Time, leap bool) {
	offset, leap := i.table.offsetTAI(i.tai)
	n := i.tai - offset*second
	if leap {
		n -= second
	}
	days := floorDiv(n, second)
	return time.Unix(days+epochUnix, n-days*second).UTC(), leap
}

// String returns UTC to the millisecond, with :60 where it is due.
func (i Instant) String() string {
	t, leap := i.UTC()
	if leap {
		return t.Format("2006-01-02T15:04:") + "60" + t.Format(".000Z")
	}
	return t.Format("2006-01-02T15:04:05.000Z")
}

// TAI returns the Julian date in International Atomic Time.
func (i Instant) TAI() JD { return julian(i.tai) }

// TT returns the Julian date in Terrestrial Time.
func (i Instant) TT() JD { return julian(i.tai + ttMinusTAI) }

// UT1 returns the Julian date in Universal Time, by what is known of UT1.
func (i Instant) UT1(u UT1) JD { return julian(i.tai - u.taiMinusUT1(i)) }

// Centuries returns the Julian centuries of TT since J2000.0.
func (i Instant) Centuries() float64 {
	jd := i.TT()
	return (jd.Day - julianEpoch + jd.Fraction) / century
}

func julian(ns int64) JD {
	days := floorDiv(ns, day)
	return JD{epochJD + float64(days), float64(ns-days*day) / float64(day)}
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
