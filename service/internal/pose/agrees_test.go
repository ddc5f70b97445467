package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A sample that came too late says the same as the one held where all that both tell is the same, in whatever form it is told.
func TestLateSampleSaysTheSame(t *testing.T) {
	at := time.Date(2026, 11, 14, 20, 0, 0, 0, time.UTC)
	told := func() *question.Sample {
		return &question.Sample{
			Time: at, Doing: question.AtRest, RunMark: "boot-1", Site: &question.Place{Lat: 0.9, Lon: 0.2}, Parts: []rig.PartState{{Part: "shield", Name: "off"}},
			Belief:   &question.Belief{Sky: question.Sky{RA: 1, Dec: 0.5, Frame: question.OfDate}, Side: rig.East},
			Readings: []question.Reading{{Source: rig.MotorCount, Axes: rig.DegAxes(3, 4)}},
		}
	}
	for name, c := range map[string]struct {
		change func(x *question.Sample)
		same   bool
	}{
		"to the letter":          {func(*question.Sample) {}, true},
		"told in another frame":  {func(x *question.Sample) { x.Belief.Sky.Frame, x.Belief.Sky.RA = question.ICRS, 1.006 }, true},
		"a site rounded":         {func(x *question.Sample) { x.Site.Lat += 1e-9 }, true},
		"nothing but its motion": {func(x *question.Sample) { *x = question.Sample{Time: x.Time, Doing: x.Doing} }, true},
		"another state":          {func(x *question.Sample) { x.Parts[0].Name = "on" }, false},
		"another site":           {func(x *question.Sample) { x.Site.Lon = -0.2 }, false},
		"another count":          {func(x *question.Sample) { x.Readings[0].Axes.A2 += unit.Degree }, false},
		"another belief":         {func(x *question.Sample) { x.Belief.Sky.Dec += 0.02 }, false},
		"another run":            {func(x *question.Sample) { x.RunMark = "boot-2" }, false},
		"moving":                 {func(x *question.Sample) { x.Doing = question.Moving }, false},
		"long ago":               {func(x *question.Sample) { x.Time = x.Time.Add(-3 * time.Second) }, false},
		"of another homing":      {func(x *question.Sample) { x.HomingID = "h0" }, false},
	} {
		late := told()
		late.Time = at.Add(-time.Second)
		c.change(late)
		assert.Equal(t, c.same, Agrees(late, question.RigState{Sample: told(), Homing: &question.Homing{ID: "h1"}}), name)
	}
	assert.False(t, Agrees(told(), question.RigState{}), "nothing is held")
}

// An internal model has no bounds, whatever a motion by chance looks like.
func TestModelStaysWithoutBounds(t *testing.T) {
	r := &rig.Rig{}
	r.Mount.Sync = rig.KeptInModel
	shown := AsShown(r, question.RigState{Disproved: &question.Disproof{Says: rig.KeptInModel}})
	assert.Equal(t, rig.KeptInModel, shown.Mount.Sync)
	r.Mount.Sync = rig.KeptOnSky
	shown = AsShown(r, question.RigState{Disproved: &question.Disproof{Says: rig.KeptOnSky}})
	assert.Equal(t, rig.KeptUnknown, shown.Mount.Sync)
}
