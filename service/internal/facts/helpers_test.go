package facts_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// limitTable is the default limits that shape facts; the real set is built by the service (storeys above this room).
type limitTable map[string]float64

func (l limitTable) Value(rule, name string) (float64, bool) { v, ok := l[rule+" "+name]; return v, ok }

func defaults() limitTable {
	return limitTable{
		"clear/path part_mm": 10, "clear/path general_mm": 10, "sun/apart separation_deg": 30, "sky/floor altitude_deg": -3,
		"sky/horizon above_deg": 0, "track/fits spare_s": 60, "sync/sum axis_deg": 5, "sync/second agree_arcmin": 10,
		"permit start_within_s": 10, "permit start_tolerance_deg": 0.5, "permit jog_deg_per_s": 0.5, "clear/opens closing_mm_per_deg": 0.02, "time/agree skew_s": 5, "asker/fallback unstopped_spare_s": 600,
	}
}

// heron reads the practice rig, with lines of its file replaced.
func heron(t *testing.T, replace ...string) *rig.Rig {
	t.Helper()
	content, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(t, err)
	text := string(content)
	for i := 0; i < len(replace); i += 2 {
		require.Contains(t, text, replace[i], "the line to replace stands in heron.yaml")
		text = strings.ReplaceAll(text, replace[i], replace[i+1])
	}
	r, bad := rig.Parse("heron.yaml", []byte(text), nil)
	require.NotNil(t, r, "%v", bad)
	return r
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// evening is a dark instant at heron's place: 19:00 local time.
var evening = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// place is heron as a sky.Place.
func place(t *testing.T, r *rig.Rig) sky.Place {
	p, err := sky.NewPlace(r.Site.Lat, r.Site.Lon)
	require.NoError(t, err)
	return p
}

// standing is an input with the rig at rest at a known pose, belief off it by so much, all fresh and in order.
func standing(t *testing.T, r *rig.Rig, at rig.Axes, off rig.Axes, a question.Action) facts.Input {
	t.Helper()
	m, err := moment(evening)
	require.NoError(t, err)
	lst := m.SiderealTime(r.Site.Lon)
	ra, dec, side := r.Unmap(rig.MountSky{Sidereal: lst, Lat: r.Site.Lat}, at.Add(off))
	s := question.Sample{
		Time: evening.Add(-time.Second), Received: evening.Add(-time.Second), Doing: question.AtRest, Sidereal: ptr((lst - unit.Angle(question.SiderealRate)).Positive()),
		Belief: &question.Belief{Sky: question.Sky{RA: (ra - unit.Angle(question.SiderealRate)).Positive(), Dec: dec, Frame: question.OfDate}, Side: side},
		Site:   &question.Place{Lat: r.Site.Lat, Lon: r.Site.Lon},
	}
	sigma := rig.DegAxes(0.02, 0.02)
	state := question.RigState{
		Pose:   question.Pose{State: question.Known, Candidates: []question.Candidate{{Axes: at, Sigma: sigma}}, Source: rig.MotorCount, At: s.Time, HomingID: "h1"},
		Sample: &s, Still: &s, Site: s.Site,
	}
	return facts.Input{
		Question: question.Question{ID: "q-0000000000000001", Rig: r.ID, Action: a, Sample: &s, Sent: evening, At: evening, Asker: "test", AttendedBy: "A. Person"},
		Snapshot: question.Snapshot{Rig: state, At: evening, Clock: question.Clock{KernelSynced: true, KernelBoundS: 0.01}},
		Rig:      r, Limits: defaults(), Moment: moment, Cells: 20_000, Proposes: true,
	}
}

// example reads one of the example rigs, with lines of its file replaced.
func example(t *testing.T, name string, replace ...string) *rig.Rig {
	t.Helper()
	dir := "../../../testdata/rigs/"
	content, err := os.ReadFile(dir + name)
	require.NoError(t, err)
	text := string(content)
	for i := 0; i < len(replace); i += 2 {
		require.Contains(t, text, replace[i], "the line to replace stands in %s", name)
		text = strings.ReplaceAll(text, replace[i], replace[i+1])
	}
	r, bad := rig.Parse(name, []byte(text), func(file string) ([]byte, error) { return os.ReadFile(dir + file) })
	require.NotNil(t, r, "%v", bad)
	return r
}

func ptr[T any](v T) *T { return &v }

func number(t *testing.T, s facts.Set, name string) float64 {
	t.Helper()
	f, ok := s[name]
	require.True(t, ok, "fact %s was not put", name)
	require.NotNil(t, f.Number, "fact %s is missing: %s", name, f.Missing)
	return *f.Number
}
