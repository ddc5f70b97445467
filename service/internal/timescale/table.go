package timescale

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"
)

// ErrTable says that a leap-second table cannot be right.
var ErrTable = errors.New("leap-second table refused")

// Leap is one row: from this instant of UTC on TAI is so many seconds ahead.
type Leap struct {
	From        time.Time
	TAIMinusUTC int
}

// Table holds the leap seconds known, when they were published, and how far ahead that list speaks. The zero Table knows
// none and has ended.
//
// Invariant: rows ascend; each differs from the one before by one second.
type Table struct {
	rows              []row
	issued, goodUntil time.Time
}

type row struct {
	unix   int64 // from this count of UTC on
	offset int64 // TAI-UTC, seconds
}

// NewTable checks a table: rows in order, one second at a time, each at 0h UTC, the list not ending before it was issued.
func NewTable(issued, goodUntil time.Time, leaps []Leap) (Table, error) {
	if len(leaps) == 0 || goodUntil.Before(issued) {
		return Table{}, fmt.Errorf("%w: %d rows, issued %s, good until %s: want rows, and an end after the issue",
			ErrTable, len(leaps), issued.Format(time.DateOnly), goodUntil.Format(time.DateOnly))
	}
	t := Table{issued: issued.UTC(), goodUntil: goodUntil.UTC()}
	for n, l := range leaps {
		r := row{l.From.Unix(), int64(l.TAIMinusUTC)}
		if err := follows(t.rows, r); err != nil {
			return Table{}, fmt.Errorf("%w: row %d (%s, %d s): %w", ErrTable, n+1, l.From.UTC().Format(time.DateOnly), l.TAIMinusUTC, err)
		}
		t.rows = append(t.rows, r)
	}
	return t, nil
}

func follows(before []row, r row) error {
	const first, end = -946771200, 7258118400 // 1940 and 2200 as Unix counts: beyond, nanoseconds would not fit
	if r.unix%86400 != 0 || r.unix < first || r.unix >= end {
		return errors.New("want it to begin at 0h UTC, between 1940 and 2200")
	}
	if len(before) == 0 {
		return nil
	}
	last := before[len(before)-1]
	if step := r.offset - last.offset; r.unix <= last.unix || (step != 1 && step != -1) {
		return errors.New("want it later than the row before and one second away from it")
	}
	return nil
}

// BuiltIn returns the table of IERS Bulletin C as of July 2026, 28 rows, good until 2027-06-28.
// Source: leap-seconds.list of tzdata 2026f; its SHA-1 is asserted in the test.
func BuiltIn() Table {
	t := Table{
		issued:    time.Unix(3992312697-ntpEpoch, 0).UTC(), // 2026-07-06
		goodUntil: time.Unix(4023129600-ntpEpoch, 0).UTC(), // 2027-06-28
	}
	for n, d := range leapDays() {
		t.rows = append(t.rows, row{time.Date(d.year, d.month, 1, 0, 0, 0, 0, time.UTC).Unix(), int64(10 + n)})
	}
	return t
}

// ntpEpoch is 1970-01-01 in seconds since 1900-01-01, the count of leap-seconds.list. Source: RFC 5905, section 6.
const ntpEpoch = 2208988800

type leapDay struct {
	year  int
	month time.Month
}

// leapDays are the first days of the rows; the first is TAI-UTC = 10 s, each later one adds a second.
func leapDays() []leapDay {
	return []leapDay{
		{1972, 1}, {1972, 7}, {1973, 1}, {1974, 1}, {1975, 1}, {1976, 1}, {1977, 1}, {1978, 1}, {1979, 1}, {1980, 1},
		{1981, 7}, {1982, 7}, {1983, 7}, {1985, 7}, {1988, 1}, {1990, 1}, {1991, 1}, {1992, 7}, {1993, 7}, {1994, 7},
		{1996, 1}, {1997, 7}, {1999, 1}, {2006, 1}, {2009, 1}, {2012, 7}, {2015, 7}, {2017, 1},
	}
}

// Issued returns when the table was published.
func (t Table) Issued() time.Time { return t.issued }

// GoodUntil returns the last instant of which the table speaks.
func (t Table) GoodUntil() time.Time { return t.goodUntil }

// Leaps returns a copy of the rows.
func (t Table) Leaps() []Leap {
	out := make([]Leap, len(t.rows))
	for n, r := range t.rows {
		out[n] = Leap{time.Unix(r.unix, 0).UTC(), int(r.offset)}
	}
	return out
}

// offset returns TAI-UTC at a Unix count of UTC: the first row's before it, the last row's after it.
func (t Table) offset(unix int64) int64 {
	if len(t.rows) == 0 {
		return 0
	}
	n, _ := slices.BinarySearchFunc(t.rows, unix+1, func(r row, u int64) int { return cmp.Compare(r.unix, u) })
	return t.rows[max(n-1, 0)].offset
}

// offsetTAI returns TAI-UTC at a count of TAI, and whether that lies within an inserted second, which still has the old offset.
func (t Table) offsetTAI(tai int64) (offset int64, leap bool) {
	for n := len(t.rows) - 1; n > 0; n-- {
		r, before := t.rows[n], t.rows[n-1].offset
		start := (r.unix - epochUnix + r.offset) * second
		if tai >= start {
			return r.offset, false
		}
		if r.offset > before && tai >= start-second {
			return before, true
		}
	}
	if len(t.rows) == 0 {
		return 0, false
	}
	return t.rows[0].offset, false
}
