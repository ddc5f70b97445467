package gauge

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
)

// watched is what a person sees of a step on a rig whose axes truly turn by what turns makes of what they read.
func watched(s *Subject, x *Sign, turns func(rig.Axes) rig.Axes) Seen {
	for _, w := range s.witnesses() {
		if w.what != x.What {
			continue
		}
		home := s.Rig.Home
		if x.Axis == 0 {
			d := s.point(&w, home).Sub(s.Rig.Chain.Point1)
			return seenOf(frame.Vec[frame.Rig]{X: d.X, Y: d.Y})
		}
		return seenOf(s.point(&w, home.Add(turns(x.At.Sub(home)))).Sub(s.point(&w, home)))
	}
	return Seen{}
}

func TestEveryWrongWiringIsTold(t *testing.T) {
	swap := func(a rig.Axes) rig.Axes { return rig.Axes{A1: a.A2, A2: a.A1} }
	for _, name := range rigs {
		s := described(t, name)
		p := planOf(s)
		require.Len(t, p.Signs, 3, name)
		for i := range p.Signs {
			x := &p.Signs[i]
			judged := func(turns func(rig.Axes) rig.Axes) Cause {
				saw := watched(s, x, turns)
				return x.Judge(saw.Side, saw.MM)
			}
			assert.Equal(t, AsDescribed, judged(func(a rig.Axes) rig.Axes { return a }), "%s axis %d", name, x.Axis)
			if x.Axis == 0 {
				continue
			}
			assert.Equal(t, Mirrored, judged(func(a rig.Axes) rig.Axes { return a.Scale(-1) }), "%s axis %d backward", name, x.Axis)
			assert.Contains(t, []Cause{Swapped, SwappedBack}, judged(swap), "%s axis %d swapped", name, x.Axis)
			assert.Contains(t, []Cause{Swapped, SwappedBack}, judged(func(a rig.Axes) rig.Axes { return swap(a).Scale(-1) }), "%s axis %d swapped backward", name, x.Axis)
			assert.NotEqual(t, AsDescribed, judged(func(a rig.Axes) rig.Axes { return a.Scale(2) }), "%s axis %d twice as far", name, x.Axis)
			assert.NotEqual(t, AsDescribed, judged(func(rig.Axes) rig.Axes { return rig.Axes{} }), "%s axis %d does not turn", name, x.Axis)
		}
	}
}

// A file that takes north for south is seen at home.
func TestMirroredLatitudeIsSeenAtHome(t *testing.T) {
	truly, file := described(t, "heron"), described(t, "heron", "site.latitude_deg=-46.2", "tape.crossing_north_of_hub_mm=-125")
	x := file.plan().Signs[0]
	require.Zero(t, x.Axis)
	saw := watched(truly, &x, nil)
	assert.Equal(t, Mirrored, x.Judge(saw.Side, saw.MM))
	assert.Contains(t, x.Sentence(Mirrored), "latitude_deg")
}

func TestAnswersOfASign(t *testing.T) {
	x := Sign{Axis: 1, What: "the far end of the dew shield", Expected: Seen{West, "", 90}, others: []other{{Mirrored, Seen{East, "", 90}}, {Swapped, Seen{Up, North, 90}}, {SwappedBack, Seen{Still, "", 0}}}}
	for _, c := range []struct {
		side Side
		mm   float64
		want Cause
	}{
		{West, 90, AsDescribed}, {West, 64, AsDescribed}, {West, 62, Scale}, {West, 180, Scale}, {East, 90, Mirrored}, {East, 300, Mirrored},
		{North, 80, Swapped}, {Up, 100, Swapped}, {Still, 0, SwappedBack}, {Down, 90, Otherwise}, {South, 90, Otherwise},
	} {
		assert.Equal(t, c.want, x.Judge(c.side, c.mm), "%s by %g mm", c.side, c.mm)
	}
}

// Two things on one side are told apart by how far only where no guess of the one, as wrong as it may be, is a guess of the other.
func TestGuessesTellApart(t *testing.T) {
	for _, c := range []struct {
		a, b Seen
		want bool
	}{
		{Seen{West, "", 100}, Seen{East, "", 100}, true}, {Seen{West, "", 100}, Seen{West, "", 150}, false}, // 130 may be either
		{Seen{West, "", 100}, Seen{West, "", 185}, false}, {Seen{West, "", 100}, Seen{West, "", 190}, true}, // up to 130; from 129.5, from 133
		{Seen{West, "", 20}, Seen{West, "", 45}, false}, {Seen{West, "", 20}, Seen{West, "", 51}, true}, {Seen{West, Up, 100}, Seen{Up, "", 110}, false},
	} {
		assert.Equal(t, c.want, c.a.differs(c.b), "%v %v", c.a, c.b)
		assert.Equal(t, c.want, c.b.differs(c.a), "%v %v", c.b, c.a)
		if !c.want {
			continue
		}
		for mm := 0.0; mm < 300; mm++ {
			either := (c.a.to(c.b.Side) || c.b.to(c.a.Side)) && c.a.fits(mm) && c.b.fits(mm)
			assert.False(t, either, "%g mm is a guess of %v and of %v", mm, c.a, c.b)
		}
	}
}

func TestWhereItWent(t *testing.T) {
	for _, c := range []struct {
		d    frame.Vec[frame.Rig]
		want Seen
	}{
		{frame.Vec[frame.Rig]{X: 30}, Seen{East, "", 30}}, {frame.Vec[frame.Rig]{X: -30, Y: 5}, Seen{West, "", 30.414}},
		{frame.Vec[frame.Rig]{Y: 30, Z: -40}, Seen{Down, North, 50}}, {frame.Vec[frame.Rig]{Y: -40, X: 4}, Seen{South, "", 40.2}},
		{frame.Vec[frame.Rig]{Z: 4}, Seen{Still, "", 4}}, {frame.Vec[frame.Rig]{Z: 6, X: 1}, Seen{Up, "", 6.083}},
	} {
		got := seenOf(c.d)
		assert.InDelta(t, c.want.MM, got.MM, 0.01)
		got.MM = c.want.MM
		assert.Equal(t, c.want, got, "%v", c.d)
	}
}

// TestEndsAreNamed front and rear where a part lies along the tube: of a tube that reaches farther back than forward the far end is the rear one, which
// nobody would take it for.
func TestEndsAreNamed(t *testing.T) {
	ends := func(changes ...string) (out []string) {
		s := described(t, "heron", changes...)
		for _, w := range s.witnesses() {
			out = append(out, w.what)
		}
		return out
	}
	assert.Subset(t, ends(), []string{"the front end of the dew shield", "the rear end of the camera", "the far end of the counterweight bar"})
	assert.Contains(t, ends("tape.back_reach_mm=900"), "the rear end of the tube")
}
