package timescale_test

import (
	"crypto/sha1"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/timescale"
)

const ntpEpoch = 2208988800

// at reads UTC text, :60 included.
func at(t *testing.T, text string) timescale.Instant {
	t.Helper()
	var leap time.Duration
	if strings.Contains(text, ":60") {
		text, leap = strings.Replace(text, ":60", ":59", 1), time.Second
	}
	read, err := time.Parse(time.RFC3339Nano, text)
	require.NoError(t, err)
	i, err := timescale.New(read, timescale.BuiltIn())
	require.NoError(t, err)
	return i.Add(leap)
}

// Source: IERS Bulletin C through leap-seconds.list of tzdata 2026f; the sum is that file's own.
func TestBuiltInTableIsThatOfTheIERS(t *testing.T) {
	table := timescale.BuiltIn()
	leaps := table.Leaps()
	require.Len(t, leaps, 28)
	assert.Equal(t, timescale.Leap{From: time.Date(1972, 1, 1, 0, 0, 0, 0, time.UTC), TAIMinusUTC: 10}, leaps[0])
	assert.Equal(t, timescale.Leap{From: time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC), TAIMinusUTC: 37}, leaps[27])
	assert.Equal(t, "2027-06-28", table.GoodUntil().Format(time.DateOnly))
	digits := fmt.Sprint(table.Issued().Unix()+ntpEpoch) + fmt.Sprint(table.GoodUntil().Unix()+ntpEpoch)
	for _, l := range leaps {
		digits += fmt.Sprint(l.From.Unix()+ntpEpoch) + fmt.Sprint(l.TAIMinusUTC)
	}
	assert.Equal(t, "a9bad14584c31c70758402aab37bfd545923836a", fmt.Sprintf("%x", sha1.Sum([]byte(digits))))
}

// Source: SOFA t_sofa_c 2021-05-12, dat.
func TestOffsetOfADay(t *testing.T) {
	for day, want := range map[string]float64{"2003-06-01": 32, "2008-01-17": 33, "2017-09-01": 37} {
		tai := at(t, day+"T00:00:00Z").TAI()
		assert.InDelta(t, want, tai.Fraction*86400, 1e-9, "TAI-UTC on %s", day)
	}
}

// Source: SOFA t_sofa_c 2021-05-12, utctai, taitt, utcut1; JD 2453750.5 is 2006-01-15.
func TestScalesAgreeWithSOFA(t *testing.T) {
	day := time.Date(2006, 1, 15, 0, 0, 0, 0, time.UTC)
	instant := func(fraction float64) timescale.Instant {
		i, err := timescale.New(day.Add(time.Duration(math.Round(fraction*86400e9))), timescale.BuiltIn())
		require.NoError(t, err)
		return i
	}
	i := instant(.892100694)
	ut1, err := timescale.StatedUT1(334100*time.Microsecond, 0, i)
	require.NoError(t, err)
	assert.InDelta(t, .8924826384444444, i.TAI().Fraction, 1e-12)
	assert.InDelta(t, .8921045608981481, i.UT1(ut1).Fraction, 1e-12)
	assert.InDelta(t, .892855139, instant(.892482639-33./86400).TT().Fraction, 1e-12)
	assert.InDelta(t, 2453750.5, i.TT().Day, 0)
}

// Source: SOFA, Tools for Earth Attitude, section 5: 2007-04-05 12h UTC, dut1 -0.072073685 s.
func TestScalesOfTheEarthAttitudeExample(t *testing.T) {
	i := at(t, "2007-04-05T12:00:00Z")
	ut1, err := timescale.StatedUT1(-72073685*time.Nanosecond, 0, i)
	require.NoError(t, err)
	assert.InDelta(t, .500754444444444, i.TT().Fraction, 1e-15)
	assert.InDelta(t, .499999165813831, i.UT1(ut1).Fraction, 1e-15)
}

// Sources: SOFA t_sofa_c 2021-05-12, d2dtf; ERFA 2.0.0 for 2016.
func TestInsertedSecond(t *testing.T) {
	i := at(t, "1994-06-30T23:59:59Z").Add(1135990 * time.Microsecond)
	read, leap := i.UTC()
	assert.True(t, leap)
	assert.Equal(t, "1994-06-30T23:59:59.13599Z", read.Format(time.RFC3339Nano))
	assert.Equal(t, "1994-06-30T23:59:60.135Z", i.String())

	i = at(t, "2016-12-31T23:59:60.5Z")
	assert.Equal(t, "2016-12-31T23:59:60.500Z", i.String())
	assert.InDelta(t, 36.5, i.TAI().Fraction*86400, 1e-3)
	assert.InDelta(t, 2457754.5, i.TAI().Day, 0, "2017-01-01")
	assert.Equal(t, "2017-01-01T00:00:00.000Z", i.Add(500*time.Millisecond).String())
}

// Faults, row 14: asked each 0.1 s across a leap second, time goes on and says its bound.
func TestTimeGoesOnAcrossALeapSecond(t *testing.T) {
	seen := map[string]bool{}
	i := at(t, "2016-12-31T23:59:57Z")
	ut1, err := timescale.StatedUT1(-408*time.Millisecond, 0, i)
	require.NoError(t, err)
	for range 60 {
		next := i.Add(100 * time.Millisecond)
		assert.False(t, seen[i.String()], "%s twice", i)
		seen[i.String()] = true
		gain := (next.UT1(ut1).Day - i.UT1(ut1).Day + next.UT1(ut1).Fraction - i.UT1(ut1).Fraction) * 86400
		assert.InDelta(t, 0.1, gain, 1e-9, "a stated UT1 knows no leap second")
		i = next
	}
	for text, want := range map[string]time.Duration{
		"2016-12-31T23:59:59Z": time.Second, "2016-12-31T23:59:60.5Z": time.Second, "2017-01-01T00:00:01Z": time.Second,
		"2016-12-31T12:00:01Z": time.Second / 2, "2017-01-01T11:59:59Z": time.Second / 2, "2016-12-31T11:59:59Z": 0, "2017-01-01T12:00:01Z": 0,
		"2026-12-31T23:59:59Z": 0, // the table is good and knows of none
		"2027-12-31T23:59:59Z": time.Second, "2028-07-01T06:00:00Z": time.Second / 2, "2026-11-25T09:00:00Z": 0,
	} {
		assert.Equal(t, want, at(t, text).ReadingBound(), text)
	}
}

func TestRangeIsStated(t *testing.T) {
	for text, ok := range map[string]bool{
		"1989-12-31T23:59:59.999Z": false, "1990-01-01T00:00:00Z": true, "2050-12-31T23:59:59.999Z": true, "2051-01-01T00:00:00Z": false,
		"1970-01-01T00:00:00Z": false, "2106-02-07T06:28:15Z": false, "0001-01-01T00:00:00Z": false,
	} {
		read, err := time.Parse(time.RFC3339Nano, text)
		require.NoError(t, err)
		_, err = timescale.New(read, timescale.BuiltIn())
		if ok {
			assert.NoError(t, err, text)
			continue
		}
		assert.ErrorIs(t, err, timescale.ErrRange, text)
	}
}

// Faults, row 15: past its end the table still answers, with age and bound.
func TestTablePastItsEnd(t *testing.T) {
	table := timescale.BuiltIn()
	good, past := at(t, "2027-06-27T23:59:59Z"), at(t, "2027-11-25T09:00:00Z")
	assert.False(t, table.Expired(good))
	assert.True(t, table.Expired(past))
	assert.InDelta(t, 507.05, table.Age(past).Hours()/24, 0.01, "days since 2026-07-06, 07:44:57")
	assert.Equal(t, time.Duration(0), good.TTBound())
	assert.Equal(t, time.Second, past.TTBound(), "June 2027 may have had one")
	assert.Equal(t, table.Age(past), past.TableAge())
	assert.Equal(t, table.GoodUntil(), past.TableEnd())
	assert.Equal(t, 2*time.Second, at(t, "2028-01-01T00:00:00Z").TTBound())
	read, _ := past.UTC()
	sinceUTC := read.Sub(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	assert.Equal(t, 37*time.Second, past.Sub(timescale.Instant{})-sinceUTC, "the last offset goes on")
}

// Faults, row 16; checks A8.
func TestBoundOfUT1(t *testing.T) {
	now := at(t, "2026-11-25T09:00:00Z")
	var unknown timescale.UT1
	assert.Equal(t, 900*time.Millisecond, unknown.Bound(now))
	assert.InDelta(t, 13.54, (timescale.EarthTurn * 0.9).Arcsec(), 0.005, "ITU-R TF.460-6 in arcseconds")
	assert.Equal(t, 900*time.Millisecond, unknown.Bound(at(t, "2034-12-31T23:59:59Z")))
	assert.Equal(t, 900*time.Millisecond+500*time.Millisecond, unknown.Bound(at(t, "2035-04-11T00:00:00Z")), "a hundred days of 5 ms after UTC may be let go")

	stated, err := timescale.StatedUT1(100*time.Millisecond, 10*time.Millisecond, now)
	require.NoError(t, err)
	assert.Equal(t, 60*time.Millisecond, stated.Bound(now.Add(-10*24*time.Hour)), "10 ms and 5 ms a day")
	for _, bad := range [][2]time.Duration{{0, -1}, {2 * time.Minute, 0}, {-2 * time.Minute, 0}, {math.MinInt64, 0}} {
		_, err := timescale.StatedUT1(bad[0], bad[1], now)
		assert.Error(t, err, "%v", bad)
	}
}

// Source: Meeus, Astronomical Algorithms, 2nd ed. 1998, example 7.a: 1957 October 4.81 is JD 2436116.31.
func TestJulianDate(t *testing.T) {
	since := time.Date(1957, 10, 4, 19, 26, 24, 0, time.UTC).Sub(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	jd := timescale.Instant{}.Add(since).TAI()
	assert.InDelta(t, 2436116.31, jd.Day+jd.Fraction, 1e-9)
	assert.InDelta(t, .81, jd.Fraction, 1e-15)
}

func TestScalesAgreeWithERFA(t *testing.T) {
	worst := 0.0
	for _, row := range rows(t, "sky_time.csv") {
		i := at(t, row[0])
		ut1, err := timescale.StatedUT1(time.Duration(math.Round(number(t, row[1])*1e9)), 0, i)
		require.NoError(t, err)
		for n, got := range []timescale.JD{i.TAI(), i.TT(), i.UT1(ut1)} {
			miss := math.Abs(got.Day-2451544.5+got.Fraction-number(t, row[2+n])) * 86400
			assert.Less(t, miss, 2e-6, "%s: scale %d of TAI, TT, UT1", row[0], n) // 11 decimals and a float64 of days
			worst = max(worst, miss)
		}
	}
	t.Logf("TAI, TT, UT1: worst %.1e s", worst)
}

func TestAddStopsAtTheEnds(t *testing.T) {
	i := at(t, "2026-01-01T00:00:00Z")
	far := i.Add(math.MaxInt64)
	assert.False(t, far.Before(i))
	assert.False(t, i.Before(i.Add(math.MinInt64).Add(math.MinInt64)))
	assert.Equal(t, i, i.Add(time.Hour).Add(-time.Hour))
}

func TestBadTablesAreRefused(t *testing.T) {
	day := func(y int) time.Time { return time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC) }
	for name, leaps := range map[string][]timescale.Leap{
		"two at once": {{From: day(2000), TAIMinusUTC: 32}, {From: day(2001), TAIMinusUTC: 34}},
		"backwards":   {{From: day(2001), TAIMinusUTC: 32}, {From: day(2000), TAIMinusUTC: 33}},
		"at noon":     {{From: day(2001).Add(12 * time.Hour), TAIMinusUTC: 32}},
		"none":        nil,
	} {
		_, err := timescale.NewTable(day(2001), day(2002), leaps)
		assert.ErrorIs(t, err, timescale.ErrTable, name)
	}
	_, err := timescale.NewTable(day(2002), day(2001), timescale.BuiltIn().Leaps())
	assert.ErrorIs(t, err, timescale.ErrTable, "ends before it was issued")
}

// A negative leap second has never been; the table would bear it.
func TestARemovedSecond(t *testing.T) {
	day := func(y int) time.Time { return time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC) }
	table, err := timescale.NewTable(day(2029), day(2040), append(timescale.BuiltIn().Leaps(), timescale.Leap{From: day(2030), TAIMinusUTC: 36}))
	require.NoError(t, err)
	i, err := timescale.New(day(2030).Add(-2*time.Second), table)
	require.NoError(t, err)
	assert.Equal(t, "2029-12-31T23:59:58.000Z", i.String())
	assert.Equal(t, "2030-01-01T00:00:00.000Z", i.Add(time.Second).String())
}

// FuzzInstant: no reading panics, and UTC gives back what New took, outside inserted seconds.
func FuzzInstant(f *testing.F) {
	f.Add(int64(1483228799), int64(5e8), int64(1e9))
	f.Add(int64(0), int64(0), int64(math.MinInt64))
	f.Fuzz(func(t *testing.T, unix, ns, add int64) {
		read := time.Unix(unix, ns)
		i, err := timescale.New(read, timescale.BuiltIn())
		if err != nil {
			return
		}
		got, leap := i.UTC()
		assert.True(t, got.Equal(read) && !leap, "%s read back as %s", read, got)
		j := i.Add(time.Duration(add))
		_, _, _, _ = j.String(), j.TT(), j.ReadingBound(), j.TTBound()
		assert.True(t, j.TAI().Fraction >= 0 && j.TAI().Fraction < 1)
	})
}

func rows(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("../../../testdata/reference/" + name)
	require.NoError(t, err)
	defer func() { assert.NoError(t, file.Close()) }()
	r := csv.NewReader(file)
	r.Comment = '#'
	out, err := r.ReadAll()
	require.NoError(t, err)
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}
