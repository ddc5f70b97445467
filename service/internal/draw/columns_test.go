package draw_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// approach is a pair with a proven gap, and what its margins ask.
func approach(one, other string, gap, required unit.Length, at rig.Axes) *reach.Approach {
	return &reach.Approach{Parts: [2]string{one, other}, Lower: gap, Upper: gap, Required: required, Pose: at}
}

// TestSideBySide writes columns of what surveys found: what binds, what is least, what has no room; two to a page beside the file as it is, whatever
// the parts are called.
func TestSideBySide(t *testing.T) {
	r := heron(t)
	s := &reach.Survey{Clear: true, Reached: 0.875}
	s.Widest[0], s.Widest[1] = reach.Extent{Low: unit.Deg(-80), High: unit.Deg(81.25)}, reach.Extent{Free: true}
	s.Binds[0] = [2]*reach.Approach{approach("north leg", "camera", 30, 30, r.Home), approach("a wall with a very long name", "tube", 31, 30, r.Home)}
	s.Here.Nearest, s.All.Nearest = approach("hub", "tube", 108.06, 30, r.Home), approach("north leg", "camera", 0, 30, rig.DegAxes(-92.5, 139.25))
	none := &reach.Survey{}
	none.Here.Nearest, none.All.Nearest = approach("hub", "tube", 5, 30, r.Home), approach("hub", "tube", 5, 30, r.Home)
	gap := unit.Length(20)
	text := draw.SideBySide(r, []draw.Column{
		draw.NewColumn(s, draw.Asked{}), draw.NewColumn(none, draw.Asked{What: "tape.a_mm+=3"}), draw.NewColumn(s, draw.Asked{What: "b", Gap: &gap}),
		draw.NewColumn(&reach.Survey{Clear: true}, draw.Asked{What: "c"}),
	})
	assert.Contains(t, text, `  (1) if tape.a_mm+=3
  (2) if b
  (3) if c

           as it is               (1)                    (2)
at home    108.1 of 30.0 mm       5.0 of 30.0 mm         108.1 of 20.0 mm
           hub                    hub                    hub
           tube                   tube                   tube
axis 1     -80.00° to 81.25°      no room                -80.00° to 81.25°
  low end  north leg              –                      north leg
           camera                                        camera
  high end a wall with a very lo… –                      a wall with a very lo…
           tube                                          tube
axis 2     all round              no room                all round
  low end  –                      –                      –
  high end –                      –                      –
the least  they touch             5.0 of 30.0 mm         they touch
           north leg              hub                    north leg
           camera                 tube                   camera
           (-92.50°, 139.25°)     (0.00°, 0.00°)         (-92.50°, 139.25°)
reached    87.5 %                 0.0 %                  87.5 %

           as it is               (3)
at home    108.1 of 30.0 mm       nothing nears
`)
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), 81, "%s", line)
	}
}
