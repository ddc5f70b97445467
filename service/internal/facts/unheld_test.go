package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// atThePole is a refracting German homed by its sensor at the pole, its counters where they say, asked for a star.
func atThePole(t *testing.T, pose, counters rig.Axes) facts.Outcome {
	t.Helper()
	r := heron(t, "map_includes_refraction: no", "map_includes_refraction: yes")
	m, err := moment(evening)
	assert.NoError(t, err)
	star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) + unit.Deg(45)).Positive(), Dec: unit.Deg(30), Frame: question.OfDate}
	in := standing(t, r, pose, rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})
	in.Snapshot.Rig.Homing = &question.Homing{ID: "h1", Sensed: true, CountZero: map[rig.SourceKind]rig.Axes{rig.MotorCount: {}}}
	in.Snapshot.Rig.Sample.Readings = []question.Reading{{Source: rig.MotorCount, Axes: counters}}
	return facts.Compute(in)
}

// At the pole the belief of a mount whose map includes refraction says nothing of axis 1. Where its counters turned as the pose did it stands
// at the pose; where a clutch was turned by hand they stand elsewhere, which only the counters show: every end that they may mean counts.
func TestRefractionAtThePole(t *testing.T) {
	assert.Less(t, number(t, atThePole(t, rig.Axes{}, rig.DegAxes(0.01, 0)).Facts, "end_spread_deg"), 0.5)
	assert.Greater(t, number(t, atThePole(t, rig.DegAxes(15, 0), rig.Axes{}).Facts, "end_spread_deg"), 5.0, "a hold, not an allow 15° off")
}

// Of encoders, too, only what they said at that homing tells later that nothing turned axis 1 by hand: without it, some minutes after, they are no witness, nor
// is a homing of an hour to come.
func TestEncodersAtThePole(t *testing.T) {
	ends := func(at time.Duration, zero map[rig.SourceKind]rig.Axes, reads rig.Axes) facts.Fact {
		r := heron(t, "map_includes_refraction: no", "map_includes_refraction: yes")
		m, err := moment(evening)
		assert.NoError(t, err)
		star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) + unit.Deg(45)).Positive(), Dec: unit.Deg(30), Frame: question.OfDate}
		in := standing(t, r, rig.Axes{}, rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})
		in.Snapshot.Rig.Homing = &question.Homing{ID: "h1", Sensed: true, At: evening.Add(at), CountZero: zero}
		in.Snapshot.Rig.Sample.Readings = []question.Reading{{Source: rig.AxisEncoder, Axes: reads}}
		return facts.Compute(in).Facts["end_spread_deg"]
	}
	noted := map[rig.SourceKind]rig.Axes{rig.AxisEncoder: rig.DegAxes(7, 0)}
	assert.NotNil(t, ends(-time.Hour, noted, rig.DegAxes(7, 0)).Number)
	assert.Nil(t, ends(-time.Hour, noted, rig.DegAxes(9, 0)).Number, "it turned")
	assert.Nil(t, ends(-time.Hour, nil, rig.Axes{}).Number, "what it said at home is not known")
	assert.NotNil(t, ends(-time.Minute, nil, rig.Axes{}).Number, "just homed")
	assert.Nil(t, ends(time.Hour, nil, rig.Axes{}).Number, "homed in an hour")
}

// What a sensor's homing found the counters to say is their zero; what a person stated leaves it open what the mount counts from.
func TestCountersFromAnotherZero(t *testing.T) {
	ends := func(sensed bool) int {
		in := standing(t, heron(t), rig.DegAxes(20, -40), rig.Axes{}, axesSlew(rig.Axes{}))
		in.Snapshot.Rig.Homing = &question.Homing{ID: "h1", Sensed: sensed, CountZero: map[rig.SourceKind]rig.Axes{rig.MotorCount: rig.DegAxes(70, -30)}}
		in.Snapshot.Rig.Sample.Readings = []question.Reading{{Source: rig.MotorCount, Axes: rig.DegAxes(90, -70)}}
		return len(facts.Compute(in).Ends)
	}
	assert.Equal(t, 1, ends(true))
	assert.Equal(t, 2, ends(false))
}
