package draw_test

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

func heron(t *testing.T) *rig.Rig {
	t.Helper()
	r, faults := rig.Parse("heron.yaml", practice.HeronFile(), nil)
	require.Empty(t, faults)
	return r
}

func surveyed(t *testing.T, r *rig.Rig, about, spread rig.Axes, budget reach.Budget) *reach.Survey {
	t.Helper()
	p := reach.New(r.Scene(nil, 10, 10))
	s := p.Survey(p.NewMap(), reach.SurveyOf{About: about, Spread: spread, Travel: r.Travel, Band: unit.Deg(90), Budget: budget}, func(int, int) bool { return true })
	require.NotNil(t, s)
	return s
}

var asked draw.Asked

// TestRoomSaysWhatTheSurveyFound, each number once and in short lines.
func TestRoomSaysWhatTheSurveyFound(t *testing.T) {
	r := heron(t)
	s := surveyed(t, r, r.Home, rig.DegAxes(0.1, 0.1), reach.RasterBudget)
	text := draw.Room(r, s, asked)
	for _, want := range []string{
		"heron: room to move, with every pair's margin kept", "carries the weights toward east", "hub and tube, 108.1 mm apart (their margins\n  ask for 30.0)",
		"beyond the low end", "south-east leg and camera", "beyond the high end", "south-west leg and camera", "axis 2: all round",
		"The file's travel is -97.50° to 97.50° and -180.00° to 180.00°: wider than", "axis 2 from -180.00° to -90.00°", "can be reached",
	} {
		assert.Contains(t, text, want)
	}
	assert.NotContains(t, text, "-0.00")
	assert.NotContains(t, text, "ran out")
	assert.Contains(t, text, "denied")
	gap := unit.Length(5)
	assert.NotContains(t, draw.Room(r, s, draw.Asked{Gap: &gap, Widened: 2}), "denied", "what is denied goes by the margins")
	assert.NotContains(t, draw.Room(r, s, draw.Asked{Gap: &gap, Widened: 2}), "gauges")
	assert.Contains(t, draw.Room(r, s, draw.Asked{Widened: 1.9}), "Between all parts 1.9 mm more is asked than the margins say: gauges found")
	assert.NotContains(t, text, "gauges")
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), 81, "%s", line)
	}
	low := regexp.MustCompile(`axis 1: (-?[\d.]+)° to (-?[\d.]+)°`).FindStringSubmatch(text)
	require.Len(t, low, 3)
	v, err := strconv.ParseFloat(low[1], 64)
	require.NoError(t, err)
	assert.InDelta(t, s.Widest[0].Low.Deg(), v, 0.006)

	r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-60), unit.Deg(60)
	assert.Contains(t, draw.Room(r, surveyed(t, r, r.Home, rig.Axes{}, reach.RasterBudget), asked), "all of it is\n    clear.")
}

func TestRoomSaysThatThereIsNone(t *testing.T) {
	r := heron(t)
	inside := rig.DegAxes(85, -17) // the camera in a leg
	text := draw.Room(r, surveyed(t, r, inside, rig.Axes{}, reach.RasterBudget), asked)
	assert.Contains(t, text, "There is no room about (85.00°, -17.00°)")
	assert.Contains(t, text, "which touch")
	assert.Contains(t, text, "not all of it is clear with axis 1 at 85.00°")
	assert.NotContains(t, text, "widest limits")
	assert.Contains(t, text, "Clear, and not to be reached from there")
	assert.Contains(t, draw.Room(r, surveyed(t, r, r.Home, rig.Axes{}, 100), asked), "The work ran out", "what was not looked at is said")
}

// TestMapIsAPicture that reads as XML, with the words that tell what is what, and draws what the raster has: the share of its hatched surface is
// that of the cells.
func TestMapIsAPicture(t *testing.T) {
	r := heron(t)
	s := surveyed(t, r, r.Home, rig.DegAxes(0.1, 0.1), reach.RasterBudget)
	gap := unit.Length(5)
	svg := draw.Map(r, s, draw.Asked{Gap: &gap, What: "a < b"}, nil)
	d := xml.NewDecoder(strings.NewReader(svg))
	hatched := 0.0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		e, ok := tok.(xml.StartElement)
		if !ok || e.Name.Local != "rect" {
			continue
		}
		size := map[string]float64{}
		fill := ""
		for _, a := range e.Attr {
			if a.Name.Local == "fill" {
				fill = a.Value
			}
			size[a.Name.Local], _ = strconv.ParseFloat(a.Value, 64)
		}
		if fill == "url(#barred)" && size["y"] > 0 { // the legend's has no place
			hatched += size["width"] * size["height"]
		}
	}
	barred := 0
	for a1 := -109.875; a1 < 110; a1 += 0.25 {
		for a2 := -189.875; a2 < 190; a2 += 0.25 {
			if s.Raster.At(rig.DegAxes(a1, a2)) == reach.Barred {
				barred++
			}
		}
	}
	require.NotZero(t, barred)
	assert.InEpsilon(t, float64(barred)*0.25*0.25*4, hatched, 0.02, "2 units a degree")
	for _, want := range []string{"axis 1, degrees from zero", "axis 2, degrees from zero", "with a gap of 5 mm kept", "carries the weights toward east", "if a &lt; b", "widest limits", "-90°", "home: (0.00°, 0.00°)"} {
		assert.Contains(t, svg, want)
	}
}

// TestLegendsNameWhatIsDrawn, and nothing else.
func TestLegendsNameWhatIsDrawn(t *testing.T) {
	r := heron(t)
	for name, s := range map[string]*reach.Survey{
		"whole": surveyed(t, r, r.Home, rig.DegAxes(0.1, 0.1), reach.RasterBudget), "cut short": surveyed(t, r, r.Home, rig.Axes{}, 100), "in a leg": surveyed(t, r, rig.DegAxes(85, -17), rig.Axes{}, reach.RasterBudget),
	} {
		svg := draw.Map(r, s, asked, nil)
		for _, of := range []struct{ drawn, says string }{{`height="0.5" fill="#888"`, "not known"}, {`height="0.5" fill="url(#barred)"`, "not clear: two"}, {`stroke-dasharray="10 5"`, "widest limits"}} {
			assert.Equal(t, strings.Contains(svg, of.drawn), strings.Contains(svg, of.says), "%s: %s", name, of.says)
		}
		assert.Equal(t, name == "in a leg", strings.Contains(svg, "There are no limits to draw: with what may be off"), name)
		assert.Equal(t, name == "cut short", strings.Contains(svg, "There are no limits to draw: the work ran out"), name)
	}
	r.Travel.Low, r.Travel.High = rig.DegAxes(-5, -5), rig.DegAxes(5, 5)
	small := draw.Map(r, surveyed(t, r, r.Home, rig.DegAxes(0.1, 0.1), reach.RasterBudget), asked, nil)
	assert.False(t, strings.Contains(small, "not known") || strings.Contains(small, "not clear: two"), "all is clear about home")
}

// TestLimitsReadyToWrite: counted from home as the file counts them, within the widest limits; a file with them is all clear.
func TestLimitsReadyToWrite(t *testing.T) {
	r := heron(t)
	for _, home := range []rig.Axes{{}, rig.DegAxes(20, -10)} {
		r.Home = home
		s := surveyed(t, r, home, rig.DegAxes(0.1, 0.1), reach.RasterBudget)
		text := strings.Join(strings.Fields(draw.Room(r, s, asked)), " ")
		m := regexp.MustCompile(`travel_from_home, which counts from home: axis1_deg: \[(-?[\d.]+), (-?[\d.]+)\] axis2_deg: \[`).FindStringSubmatch(text)
		require.Len(t, m, 3, text)
		low, _ := strconv.ParseFloat(m[1], 64)
		high, _ := strconv.ParseFloat(m[2], 64)
		assert.GreaterOrEqual(t, low, (s.Widest[0].Low-home.A1).Deg()-1e-7)
		assert.LessOrEqual(t, high, (s.Widest[0].High-home.A1).Deg()+1e-7)
		assert.InDelta(t, (s.Widest[0].Low - home.A1).Deg(), low, 0.0101)
		assert.InDelta(t, (s.Widest[0].High - home.A1).Deg(), high, 0.0101)
	}
}
