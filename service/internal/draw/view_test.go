package draw_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// example reads one of the rigs of testdata.
func example(t *testing.T, name string) *rig.Rig {
	t.Helper()
	dir := filepath.Join("..", "..", "..", "testdata", "rigs")
	content, err := os.ReadFile(filepath.Join(dir, name+".yaml"))
	require.NoError(t, err)
	r, faults := rig.Parse(name+".yaml", content, func(file string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, file)) })
	require.Empty(t, faults)
	return r
}

func viewed(r *rig.Rig, a1, a2 float64) *draw.View {
	return draw.NewView(r, r.Scene(nil, 10, 10), rig.DegAxes(a1, a2))
}

func TestViewSaysWhatIsNearest(t *testing.T) {
	r := heron(t)
	text := viewed(r, 60, -40).Text()
	assert.Contains(t, text, "heron: axis 1 at 60.00°, axis 2 at -40.00°\n")
	assert.Contains(t, text, "The tube points toward azimuth 68.2° (east), 69.8° high.")
	assert.Contains(t, text, "Nearest: south-west leg and camera, 107.3 mm apart (their margins ask for 30.0).")
	assert.NotContains(t, text, "travel")
	assert.NotContains(t, text, "Least to spare", "it is the same pair")

	assert.Contains(t, viewed(r, 100, 0).Text(), "This is beyond the file's travel, -97.50° to 97.50° and -180.00° to 180.00°.")
	inside := viewed(r, 85, -17)
	assert.Contains(t, inside.Text(), "Nearest: south-west leg and camera, which touch.")
	assert.Contains(t, inside.Text(), "no motion that has to keep its margins may go\n  here")
	assert.Contains(t, inside.Picture(), "south-west leg – camera: THEY TOUCH")

	for i := range r.Parts { // 108 mm to the hub stay the nearest, and something else has less to spare
		if r.Parts[i].Name == "tube" {
			r.Parts[i].Margin = 150
		}
	}
	text = viewed(r, 60, -40).Text()
	assert.Contains(t, text, "Nearest: south-west leg and camera, 107.3 mm apart")
	assert.Regexp(t, `Least to spare: [a-z -]+ and tube, \d`, text)
	assert.Contains(t, text, "less than they must keep")
}

// TestViewHasNothingWhereNothingCounts: a rig all of whose pairs always touch.
func TestViewHasNothingWhereNothingCounts(t *testing.T) {
	r := heron(t)
	s := r.Scene(nil, 10, 10)
	s.Pairs = nil
	v := draw.NewView(r, s, r.Home)
	assert.Contains(t, v.Text(), "No two parts of this rig come nearer")
	assert.NotContains(t, v.Picture(), " mm</text>")
}

func TestNothingIsMirrored(t *testing.T) {
	for i, e := range draw.Eyes() {
		assert.Equal(t, e[2], e[0].Cross(e[1]), "view %d: right × up comes out of the paper", i)
	}
}

// TestWhatIsNearerCoversWhatIsFarther, at points thrown onto the three views of each rig.
func TestWhatIsNearerCoversWhatIsFarther(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	for _, r := range []*rig.Rig{heron(t), example(t, "wren"), example(t, "curlew"), example(t, "bittern")} {
		looked, wrong := 0, 0
		for range 3 {
			between := func(low, high float64) float64 { return low + random.Float64()*(high-low) }
			v := viewed(r, between(r.Travel.Low.A1.Deg(), r.Travel.High.A1.Deg()), between(r.Travel.Low.A2.Deg(), r.Travel.High.A2.Deg()))
			c := r.Chain.Point1
			for nth, e := range draw.Eyes() {
				var places [][2]float64
				for range 60 {
					places = append(places, [2]float64{c.Dot(e[0]) + between(-400, 400), c.Dot(e[1]) + between(-500, 400)})
				}
				painted, nearest := v.Tops(nth, places)
				for i := range painted {
					if looked++; painted[i] != nearest[i] {
						wrong++
					}
				}
			}
		}
		t.Logf("%s: %d of %d", r.ID, wrong, looked)
		require.Greater(t, looked, 200, r.ID)
		assert.LessOrEqual(t, wrong*100, looked, "%s: %d of %d: parts that run through one another have no order that is right everywhere", r.ID, wrong, looked)
	}
}

// ringsOf are the centres of the rings about the nearest pair, in the order of the views, and the units a millimetre.
func ringsOf(t *testing.T, svg string) (rings [][2]float64, scale float64) {
	t.Helper()
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	for _, m := range regexp.MustCompile(`stroke="black" stroke-width="2.5"><path [^>]*><circle cx="([-\d.]+)" cy="([-\d.]+)"`).FindAllStringSubmatch(svg, -1) {
		rings = append(rings, [2]float64{num(m[1]), num(m[2])})
	}
	bar := regexp.MustCompile(`m0 -5h([\d.]+)m0 -5v10"[^>]*><text[^>]*>(\d+) mm, in all three views`).FindStringSubmatch(svg)
	require.Len(t, bar, 3)
	return rings, num(bar[1]) / num(bar[2])
}

// TestNearestIsMarkedWhereItIs, in each view, by the picture's own scale: whatever the hemisphere and the mount.
func TestNearestIsMarkedWhereItIs(t *testing.T) {
	for _, c := range []struct {
		r      *rig.Rig
		a1, a2 float64
	}{{heron(t), 60, -40}, {example(t, "wren"), 70, -60}, {example(t, "curlew"), 85, 60}, {example(t, "bittern"), -40, 20}} {
		s := c.r.Scene(nil, 10, 10)
		placed := s.Place(rig.DegAxes(c.a1, c.a2))
		least := solid.Gap{Lower: 1e9}
		for _, p := range s.Pairs {
			if g := solid.Distance(placed[p.A], placed[p.B]); g.Lower < least.Lower {
				least = g
			}
		}
		at := least.A.Add(least.B).Scale(0.5)
		svg := draw.NewView(c.r, s, rig.DegAxes(c.a1, c.a2)).Picture()
		rings, scale := ringsOf(t, svg)
		require.Len(t, rings, 3, c.r.ID)
		south, east, above := rings[0], rings[1], rings[2]
		middle := c.r.Chain.Point1
		assert.InDelta(t, 240+scale*(at.X-middle.X), south[0], 0.2, "%s: east is to the right from the south", c.r.ID)
		assert.InDelta(t, south[0], above[0], 0.01, "%s: and from above", c.r.ID)
		assert.InDelta(t, 756+scale*(at.Y-middle.Y), east[0], 0.2, "%s: north is to the right from the east", c.r.ID)
		assert.InDelta(t, south[1], east[1], 0.01, "%s: as high in both", c.r.ID)
		floor := regexp.MustCompile(`<path d="M[\d.]+ ([\d.]+)h440.0" stroke="black" stroke-width="2.5"/>`).FindStringSubmatch(draw.NewView(c.r, s, c.r.Home).Picture())
		require.Len(t, floor, 2)
		height, err := strconv.ParseFloat(floor[1], 64)
		require.NoError(t, err)
		assert.InDelta(t, height-scale*at.Z, south[1], 0.2, "%s: so high above the floor, and the scale is that of home", c.r.ID)
		frames := regexp.MustCompile(`y="([\d.]+)" width="440.0" height="([\d.]+)" fill="none" stroke="#777"`).FindAllStringSubmatch(svg, -1)
		require.Len(t, frames, 3)
		top, err1 := strconv.ParseFloat(frames[2][1], 64)
		tall, err2 := strconv.ParseFloat(frames[2][2], 64)
		require.NoError(t, errors.Join(err1, err2))
		assert.InDelta(t, top+tall/2-scale*(at.Y-middle.Y), above[1], 0.2, "%s: north is up from above", c.r.ID)
	}
}

// TestPictureReadsAsXML and says what a reader needs, each in words.
func TestPictureReadsAsXML(t *testing.T) {
	svg := viewed(example(t, "curlew"), -20, 70).Picture()
	assert.Contains(t, svg, "In all of their states at once: focuser (0 to 40 mm;")
	assert.Equal(t, 1+2*3, strings.Count(svg, `stroke-dasharray="0.1 5"`), "two states of the focuser in three views, and the legend; the roof is farther off")
	assert.Contains(t, svg, "there only in some of its part&#39;s states")
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
	}
	for _, want := range []string{
		"seen from the south", "seen from the east", "seen from above", ">west<", ">east<", ">north<", ">south<", ">floor<", "axis 1 at -20.00°, axis 2 at 70.00°",
		"stands on the ground", "turns with axis 1<", "turns with axis 1 and axis 2", "500 mm, in all three views", "Farther off than the pictures go: roof.",
		"<title>counterweights</title>", ">counterweights</text>", ">pier</text>", "carries the weights toward east",
	} {
		assert.Contains(t, svg, want)
	}
	assert.NotContains(t, svg, "NaN")
}

// fenced is heron with a row of balls where its dew shield comes by with axis 2 at 30°, but for where axis 1 stands in a gap.
func fenced(t *testing.T, openFrom, openTo float64) *rig.Rig {
	t.Helper()
	r := *heron(t)
	r.Parts = slices.Clone(r.Parts)
	i := slices.IndexFunc(r.Parts, func(p rig.Part) bool { return p.Name == "dew shield" })
	require.GreaterOrEqual(t, i, 0)
	centre := r.Parts[i].Shapes[0].Centre()
	for deg := -96.0; deg <= 96; deg += 4 {
		if deg >= openFrom && deg <= openTo {
			continue
		}
		ball, err := solid.Sphere(r.Chain.Link2(rig.DegAxes(deg, 30)).Point(centre), 40)
		require.NoError(t, err)
		r.Parts = append(r.Parts, rig.Part{Name: fmt.Sprintf("ball at %g", deg), Link: rig.Ground, Shapes: []solid.Shape{ball}})
	}
	return &r
}

// TestViewSaysTheWayHome from where the rig stands: straight, by stops that are clear leg by leg, or none.
func TestViewSaysTheWayHome(t *testing.T) {
	said := func(r *rig.Rig, a1, a2 float64) string {
		text := draw.NewView(r, r.Scene(nil, 10, 10), rig.DegAxes(a1, a2)).Text()
		return strings.Join(strings.Fields(text), " ")
	}
	assert.Contains(t, said(heron(t), 20, -35), "The way home from there is clear.")
	assert.Contains(t, said(heron(t), -72, 22), "a creep, a slow turn of one axis")
	assert.NotContains(t, said(heron(t), 0, 0), "home from there")
	assert.NotContains(t, said(heron(t), 170, 0), "home from there", "beyond travel")

	assert.Regexp(t, "At home ball at .* and dew shield are nearer than they may be", said(fenced(t, 1, 0), -20, 80))
	shut := fenced(t, 1, 0)
	shut.Home = rig.DegAxes(-20, -70)
	assert.Contains(t, said(shut, -20, 80), "No way leads home from there: it is proven")
	r := fenced(t, -20, 96)
	r.Home = rig.DegAxes(70, -5)
	text := said(r, -90, 75)
	by := regexp.MustCompile(`Home from there by (.*): each leg is clear`).FindStringSubmatch(text)
	require.NotNil(t, by, text)
	p, at := reach.New(r.Scene(nil, 10, 10)), rig.DegAxes(-90, 75)
	legs := 0
	for _, m := range regexp.MustCompile(`axis 1 at (\S+)°, axis 2 at (\S+)°`).FindAllStringSubmatch(by[1], -1) {
		a1, err1 := strconv.ParseFloat(m[1], 64)
		a2, err2 := strconv.ParseFloat(m[2], 64)
		require.NoError(t, errors.Join(err1, err2))
		to := rig.DegAxes(a1, a2)
		assert.True(t, p.Prove(reach.WayOf(r.Motion.Sharing, r.Motion, at, to), rig.Axes{}, reach.DefaultBudget).Passes())
		at, legs = to, legs+1
	}
	assert.Positive(t, legs)
	assert.True(t, p.Prove(reach.WayOf(r.Motion.Sharing, r.Motion, at, r.Home), rig.Axes{}, reach.DefaultBudget).Passes())
}

// TestWhatTurnsIsNamedOrBehind: in each of the three views what is at the front and at the back of the tube has its name on it or beside it, or is said
// to be behind others; the tube in two at least.
func TestWhatTurnsIsNamedOrBehind(t *testing.T) {
	words := regexp.MustCompile(`>([^<>]*)</text>`)
	for _, at := range [][2]float64{{0, 0}, {60, -40}, {-70, 100}, {20, 170}} {
		r := heron(t)
		named := map[string]int{}
		for _, m := range words.FindAllStringSubmatch(viewed(r, at[0], at[1]).Picture(), -1) {
			list, behind := strings.CutPrefix(m[1], "behind: ")
			list, _, _ = strings.Cut(list, " and ") // so many more
			for _, name := range strings.Split(list, ", ") {
				if behind || name == m[1] {
					named[name]++
				}
			}
		}
		for _, p := range r.Parts {
			if least := map[string]int{"dew shield": 3, "camera": 3, "tube": 2}[p.Name]; least > 0 {
				assert.GreaterOrEqual(t, named[p.Name], least, "%s at %v", p.Name, at)
			}
		}
	}
}

// TestWhatStandsBesideAViewIsSaid: a part that one view shows and another does not, since it stands beside it, is said to be.
func TestWhatStandsBesideAViewIsSaid(t *testing.T) {
	r := example(t, "curlew")
	svg := draw.NewView(r, r.Scene(nil, 10, 10), rig.DegAxes(60, -70)).Picture()
	assert.Contains(t, svg, "In some of them only, beside where the others end: cabinet.")
	assert.Equal(t, 1, strings.Count(svg, ">cabinet</text>"), "from the east")
	assert.NotContains(t, viewed(heron(t), 60, -40).Picture(), "In some of them only")
}

// TestStatesAreDrawnAsTold: a part that is told to be in one of its states is drawn so and no other; in the map the state is said.
func TestStatesAreDrawnAsTold(t *testing.T) {
	r := example(t, "curlew")
	out, err := r.ReadState("focuser=60")
	require.NoError(t, err)
	open, err := r.ReadState("roof=open")
	require.NoError(t, err)
	svg := draw.NewView(r, r.Scene([]rig.PartState{out, open}, 10, 10), r.Home, out, open).Picture()
	assert.NotContains(t, svg, `stroke-dasharray="0.1 5"`)
	assert.NotContains(t, svg, "at once")
	assert.Contains(t, svg, "Parts as told: focuser at 60 mm, roof open.")
	m := draw.Map(r, unsurveyed(r), draw.Asked{Parts: []rig.PartState{open}}, nil)
	assert.Contains(t, m, "Parts as told: roof open.")
	assert.Contains(t, m, "In all of their states at once: focuser (0 to 40 mm;")
}
