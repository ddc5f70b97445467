package draw_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// place is where the map of heron, whose sheet is -110° to 110° and -190° to 190°, has a pose.
func place(a rig.Axes) string {
	return fmt.Sprintf("%.1f %.1f", 70+2*(a.A1.Deg()+110), 70+2*(190-a.A2.Deg()))
}

// unsurveyed is a survey of which nothing is worked out: enough to draw a course on.
func unsurveyed(r *rig.Rig) *reach.Survey {
	raster := reach.New(r.Scene(nil, 10, 10)).NewMap().Raster(1, func(int, int) bool { return true })
	return &reach.Survey{SurveyOf: reach.SurveyOf{About: r.Home, Travel: r.Travel}, Raster: raster}
}

// TestMapShowsACourse: each place and end where it is, with the way between, and in the legend.
func TestMapShowsACourse(t *testing.T) {
	r := heron(t)
	s := unsurveyed(r)
	from, other, to, instead := rig.DegAxes(40, -50), rig.DegAxes(45, -52), rig.DegAxes(-60, 80), rig.DegAxes(-50, 110)
	svg := draw.Map(r, s, draw.Asked{}, &draw.Course{Places: []rig.Axes{from, other}, Intended: &to, Predicted: []rig.Axes{instead}})
	for _, want := range []string{
		"where the rig is: (40.00°, -50.00°)", "where else it may be: (45.00°, -52.00°)", "where the motion is to end: (-60.00°, 80.00°)",
		"where it may end instead: (-50.00°, 110.00°)", "the way there; dotted: to the other ends",
	} {
		assert.Contains(t, svg, want)
	}
	for _, a := range []rig.Axes{from, other, to, instead} {
		assert.Equal(t, 1, strings.Count(svg, "translate("+place(a)+")"), "%s", a)
	}
	ways := regexp.MustCompile(`<path d="M([-\d. ]+)L[^"]*L([-\d. ]+)" fill="none" stroke="black"`).FindAllStringSubmatch(svg, -1)
	require.Len(t, ways, 2)
	assert.Equal(t, []string{place(from), place(instead)}, ways[0][1:])
	assert.Equal(t, []string{place(from), place(to)}, ways[1][1:], "the intended one on top")

	corner := rig.DegAxes(-60, 40) // both axes at 5°/s: axis 1 has its 100° when axis 2 has 90 of its 130
	assert.NotContains(t, svg, place(corner), "the curve, not one axis after the other")
	r.Motion.Sharing = rig.Axis1First
	svg = draw.Map(r, s, draw.Asked{}, &draw.Course{Places: []rig.Axes{from}, Intended: &to})
	assert.Contains(t, svg, "L"+place(rig.DegAxes(-60, -50)), "axis 1 first: by that corner")
	assert.NotContains(t, svg, "dotted")

	r.Motion.Via = []rig.Axes{rig.DegAxes(0, 0)}
	svg = draw.Map(r, s, draw.Asked{}, &draw.Course{Places: []rig.Axes{from}, Intended: &to})
	assert.Contains(t, svg, "L"+place(rig.DegAxes(0, 0))+`"`, "by the pose that every slew goes by")

	r.Motion.Via, r.Motion.Sharing = nil, rig.AnyOrder
	svg = draw.Map(r, s, draw.Asked{}, &draw.Course{Places: []rig.Axes{from}, Intended: &to})
	assert.Contains(t, svg, "anywhere within the shaded box")
	assert.Contains(t, svg, `width="200.0" height="260.0" fill="none" stroke="black" stroke-width="3.5"`)
}

func TestMapOfARigNobodyKnowsWhere(t *testing.T) {
	r := heron(t)
	s := unsurveyed(r)
	to := rig.DegAxes(-60, 80)
	svg := draw.Map(r, s, draw.Asked{}, &draw.Course{Intended: &to})
	assert.Contains(t, svg, "where the rig is now is not known")
	assert.Contains(t, svg, "translate("+place(to)+")")
	assert.NotContains(t, svg, "the way there")
	assert.NotContains(t, draw.Map(r, s, draw.Asked{}, nil), "where the rig is")
}
