package gauge

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

func (s *Subject) length(t *testing.T, name string) int {
	j := slices.IndexFunc(s.Lengths, func(l Length) bool { return l.Name == name })
	require.GreaterOrEqual(t, j, 0, name)
	return j
}

// TestLengthsThatBindTheTravelAreMeasured, or it is said that they are not: what nothing comes near may go unseen. That a gap changes with a length
// shows nothing where home may be out by as much.
func TestLengthsThatBindTheTravelAreMeasured(t *testing.T) {
	for _, name := range rigs {
		s := described(t, name)
		p := planOf(s)
		v, _ := s.variants(onward)
		room, _ := s.room(v, onward)
		e := &explanation{s: s}
		for _, x := range p.Poses {
			for _, g := range x.Gaps {
				k, _ := s.spotOf(Place{x.At, g.Parts})
				e.r, e.slopes = append(e.r, 0), append(e.slopes, v.slopes(x.At, []spot{k})[0])
			}
		}
		e.weigh(make([]Measured, len(e.r)))
		binding := 0
		for j, l := range s.Lengths {
			if l.Unit == "mm" && room[j] < slip {
				binding++
				off := e.column(j)
				for i := range off {
					off[i] *= float64(roomy)
				}
				assert.GreaterOrEqual(t, e.left(off), oneOf(len(s.Lengths)), "%s: %s wrong by %v", name, l.Name, roomy)
			}
		}
		assert.GreaterOrEqual(t, binding, 3, name)
		assert.Empty(t, p.Unmeasured, name)
	}
}

// TestALongerTubeIsNoticed: of the wren nothing but the front of its tube comes near the fork's base, and once no gap told of it.
func TestALongerTubeIsNoticed(t *testing.T) {
	s := described(t, "wren")
	truly := described(t, "wren", "tape.front_reach_mm+=60")
	j, err := s.judge(measures(truly, planOf(s), 2, 1))
	require.NoError(t, err)
	assert.False(t, j.Fits, j.Says)
	assert.True(t, slices.ContainsFunc(j.Suspects, func(x Suspect) bool { return x.Name == "tape.front_reach_mm" }), j.Says)
}

// TestRoomIsWhatALengthMayBeWrongBy: with a little less every pose that is clear by the file is clear yet, with a little more one is not.
func TestRoomIsWhatALengthMayBeWrongBy(t *testing.T) {
	s := described(t, "wren")
	v, _ := s.variants(onward)
	room, _ := s.room(v, onward)
	pairs, required := s.bound()
	clear := func(v *variant, at rig.Axes) bool {
		stands := v.at(at)
		return !slices.ContainsFunc(pairs, func(k spot) bool { return stands.gap(k) < required[slices.Index(pairs, k)] })
	}
	for _, name := range []string{"tape.front_reach_mm", "tape.fork.arm_length_mm"} {
		j := s.length(t, name)
		require.Less(t, room[j], float64(slip))
		for more, want := range map[float64]bool{0.8: true, 1.2: false} {
			still := true
			for _, by := range []float64{room[j] * more, -room[j] * more} {
				other := s.read(s.Lengths[j].with(by))
				for _, at := range s.bindPoses() {
					still = still && (!clear(v.is, at) || clear(other, at))
				}
			}
			assert.Equal(t, want, still, "%s by %.1f mm", name, room[j]*more)
		}
	}
}

// flapped is the practice rig with a flap on the ground, in one of two states, near to which its tube comes.
func flapped(t *testing.T) *Subject {
	before, _, _ := strings.Cut(string(practice.HeronFile()), "\nend:")
	content := []byte(before + `
parts:
  - name: flap
    fixed_to: ground
    shapes: []
    states:
      - name: open
        shapes: [{box: {centre_mm: [0, 2000, 500], size_mm: [900, 60, 200]}}]
      - name: shut
        shapes: [{box: {centre_mm: [0, 700, 1500], size_mm: [900, 60, 1800]}}]
end: heron
`)
	r, faults := rig.Parse("heron.yaml", content, nil)
	require.Empty(t, faults)
	return New(r, 10, 10, "heron.yaml", content, nil)
}

// TestWhatNoGapMeasuresIsSaidApart: a part with states is measured by no gap, so of what it binds nothing is proven; of the rest it matters less.
func TestWhatNoGapMeasuresIsSaidApart(t *testing.T) {
	s := flapped(t)
	p := s.plan()
	var names []string
	for i, u := range p.Unmeasured {
		names = append(names, u.Name)
		assert.Less(t, u.Room, float64(slip))
		assert.True(t, i == 0 || p.Unmeasured[i-1].Room <= u.Room, "the least room first")
		assert.NotContains(t, p.Unseen, u.Name)
	}
	assert.Contains(t, names, "parts.1.states.2.shapes.1.box.centre_mm.2", "how far north it stands")
	assert.Contains(t, p.Unseen, "parts.1.states.1.shapes.1.box.size_mm.3", "nothing comes near the open flap")
}

// Where the work does not suffice to tell which lengths bind, none is taken not to.
func TestWhatIsNotWorkedOutBinds(t *testing.T) {
	s := crowded(t, 900)
	require.Empty(t, s.bindPoses())
	v := variants{}
	room, ok := s.room(v, onward)
	assert.True(t, ok)
	for _, mm := range room {
		assert.Zero(t, mm)
	}
}
