package sky_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// budget is the promise of the design: 1″ before refraction over 1990-2050.
const budget = 1.0

// instant reads UTC text, :60 included.
func instant(t testing.TB, text string) timescale.Instant {
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

// moment makes a Moment of UTC text and UT1-UTC in seconds.
func moment(t testing.TB, text string, dut1 float64) *sky.Moment {
	t.Helper()
	i := instant(t, text)
	ut1, err := timescale.StatedUT1(time.Duration(math.Round(dut1*1e9)), 0, i)
	require.NoError(t, err)
	return sky.At(i, ut1)
}

func place(t testing.TB, latDeg, lonDeg float64) sky.Place {
	t.Helper()
	p, err := sky.NewPlace(unit.Deg(latDeg), unit.Deg(lonDeg))
	require.NoError(t, err)
	return p
}

func air(t testing.TB, w sky.Weather) sky.Air {
	t.Helper()
	a, err := sky.NewAir(w)
	require.NoError(t, err)
	return a
}

func radec[F any](raDeg, decDeg float64) frame.Vec[F] {
	return frame.FromLonLat[F](unit.Deg(raDeg), unit.Deg(decDeg))
}

func azalt(azDeg, altDeg float64) frame.Vec[frame.Site] {
	return frame.Horizon[frame.Site](unit.Deg(azDeg), unit.Deg(altDeg))
}

// random returns a direction from all over the sphere.
func random[F any](rng *rand.Rand) frame.Vec[F] {
	return frame.Vec[F]{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Unit()
}

// between returns a random instant of the stated range, a day away from its ends.
func between(t testing.TB, rng *rand.Rand) timescale.Instant {
	t.Helper()
	i, err := timescale.New(time.Unix(631152000+86400+rng.Int64N(2556144000-631152000-2*86400), 0), timescale.BuiltIn())
	require.NoError(t, err)
	return i
}

// worst keeps the largest miss of a quantity, in arcseconds, and fails one beyond the budget.
type worst struct {
	name   string
	budget float64
	most   float64
	where  string
}

func (w *worst) see(t testing.TB, arcsec float64, where string) {
	t.Helper()
	assert.LessOrEqual(t, arcsec, w.budget, "%s, arcsec, at %s", w.name, where) // a NaN fails too
	if arcsec > w.most {
		w.most, w.where = arcsec, where
	}
}

func (w *worst) log(t testing.TB) {
	t.Helper()
	t.Logf("%s: worst %.4f″ of %g″, at %s", w.name, w.most, w.budget, w.where)
}

type row []string

func (r row) number(t testing.TB, n int) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[n], 64)
	require.NoError(t, err, "%v", r)
	return v
}

func (r row) moment(t testing.TB) *sky.Moment {
	t.Helper()
	return moment(t, r[0], r.number(t, 1))
}

func (r row) place(t testing.TB) sky.Place {
	t.Helper()
	return place(t, r.number(t, 2), r.number(t, 3))
}

func (r row) String() string { return strings.Join(r, ",") }

func reference(t testing.TB, name string) []row {
	t.Helper()
	file, err := os.Open("../../../testdata/reference/" + name)
	require.NoError(t, err)
	defer func() { assert.NoError(t, file.Close()) }()
	r := csv.NewReader(file)
	r.Comment = '#'
	all, err := r.ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, all)
	out := make([]row, len(all))
	for n := range all {
		out[n] = all[n]
	}
	return out
}
