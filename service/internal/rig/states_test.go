package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// TestStatesAsWritten are read as the rig's parts have them, and nothing else is taken: what fits no state would count as all of them.
func TestStatesAsWritten(t *testing.T) {
	text, _ := changed(t, heronText(t), "has_no:", `parts:
  - name: roof
    fixed_to: ground
    states:
      - {name: shut, shapes: [{ball: {centre_mm: [0, 0, 5000], diameter_mm: 50}}]}
      - {name: open, shapes: [{ball: {centre_mm: [0, 9000, 5000], diameter_mm: 50}}]}
  - name: rotator
    fixed_to: axis 2
    states:
      - {between_deg: [0, 90], shapes: [{ball: {centre_mm: [260, -300, 0], diameter_mm: 50}}]}
      - {between_deg: [90, 180], shapes: [{ball: {centre_mm: [260, -310, 0], diameter_mm: 50}}]}
has_no:`)
	r, faults := rig.Parse("heron.yaml", []byte(text), nil)
	require.Empty(t, faults)
	assert.Equal(t, []string{"roof (shut; open)", "rotator (0 to 90°; 90 to 180°)"}, r.AllAtOnce(nil))
	told := []rig.PartState{}
	for text, words := range map[string]string{"roof=open": "roof open", "rotator=20": "rotator at 20°", " rotator = 20 deg": "rotator at 20°"} {
		s, err := r.ReadState(text)
		require.NoError(t, err, text)
		assert.Equal(t, words, s.String())
		if text != "rotator=20" {
			told = append(told, s)
		}
	}
	assert.Empty(t, r.AllAtOnce(told))
	border, err := r.ReadState("rotator=90")
	require.NoError(t, err)
	assert.Equal(t, []string{"roof (shut; open)", "rotator (0 to 90°; 90 to 180°)"}, r.AllAtOnce([]rig.PartState{border}), "on the border it may be in either")
	maybe := func(told ...rig.PartState) (n int) {
		for _, b := range r.Scene(told, 10, 10).Bodies {
			if b.Maybe {
				n++
			}
		}
		return n
	}
	assert.Equal(t, 4, maybe())
	assert.Equal(t, 0, maybe(told...))
	for text, says := range map[string]string{
		"roof": "write a part and its state", "roof=": "write a part and its state", "roof=ajar": "its states are: shut; open", "door=open": "parts with states are: roof, rotator",
		"tube=open": "parts with states are: roof, rotator", "rotator=far": "write a number, in deg", "rotator=NaN": "write a number", "rotator=200": "its states are: 0 to 90°; 90 to 180°", "rotator=20mm": "write a number, in deg",
	} {
		_, err := r.ReadState(text)
		assert.ErrorIs(t, err, rig.ErrState, text)
		assert.ErrorContains(t, err, says, text)
	}
	assert.ErrorContains(t, r.HasState(rig.PartState{Part: "rotator", Name: "20"}), "write a number with its unit, rotator=35deg")
	bare, faults := rig.Parse("heron.yaml", []byte(heronText(t)), nil)
	require.Empty(t, faults)
	_, err = bare.ReadState("roof=open")
	assert.ErrorContains(t, err, "none of this rig's parts")
}

// TestUnjudged: what is reported may leave no part in a state that what was judged did not take up; a part of which nothing was told then was judged in all.
func TestUnjudged(t *testing.T) {
	named := func(name string) rig.State { return rig.State{Name: name} }
	between := func(low, high float64) rig.State { return rig.State{Low: low, High: high, Measured: "mm"} }
	r := &rig.Rig{Parts: []rig.Part{
		{Name: "tube"}, {Name: "flap", States: []rig.State{named("open"), named("shut")}}, {Name: "focuser", States: []rig.State{between(0, 40), between(40, 80)}},
	}}
	flap := func(name string) rig.PartState { return rig.PartState{Part: "flap", Name: name} }
	focuser := func(mm float64) rig.PartState { return rig.PartState{Part: "focuser", Measure: &mm, Unit: "mm"} }
	tube := rig.PartState{Part: "tube", Name: "open"}
	type told []rig.PartState
	for _, c := range []struct {
		judged, reported told
		part, was, is    string
	}{
		{told{}, told{}, "", "", ""},
		{told{}, told{flap("shut"), focuser(12), tube}, "", "", ""},
		{told{flap("open")}, told{flap("open")}, "", "", ""},
		{told{flap("open"), focuser(10)}, told{focuser(39), flap("open")}, "", "", ""},
		{told{flap("open"), flap("shut")}, told{}, "", "", ""},
		{told{flap("ajar")}, told{flap("shut")}, "", "", ""}, // which was judged as all
		{told{focuser(40)}, told{focuser(12)}, "", "", ""},
		{told{flap("open")}, told{flap("shut")}, "flap", "flap open", "flap shut"},
		{told{flap("open")}, told{}, "flap", "flap open", ""},
		{told{flap("open")}, told{focuser(10), tube}, "flap", "flap open", ""},
		{told{flap("open")}, told{flap("ajar")}, "flap", "flap open", "flap ajar"},
		{told{flap("open")}, told{flap("open"), flap("shut")}, "flap", "flap open", "flap open and flap shut"},
		{told{focuser(10)}, told{focuser(41)}, "focuser", "focuser at 10 mm", "focuser at 41 mm"},
		{told{focuser(10)}, told{focuser(40)}, "focuser", "focuser at 10 mm", "focuser at 40 mm"},
		{told{flap("open"), focuser(41)}, told{flap("open"), focuser(10)}, "focuser", "focuser at 41 mm", "focuser at 10 mm"},
	} {
		part, was, is := r.Unjudged(c.judged, c.reported)
		assert.Equal(t, [3]string{c.part, c.was, c.is}, [3]string{part, was, is}, "judged %v, reported %v", c.judged, c.reported)
	}
}
