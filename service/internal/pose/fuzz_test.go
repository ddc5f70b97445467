package pose

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// wild draws a sample, an event or a solve that need make no sense, from bytes.
type wild struct {
	b    []byte
	n    *night
	mark string // the first run mark seen since the last homing
}

func (w *wild) byte() byte {
	if len(w.b) == 0 {
		return 0
	}
	v := w.b[0]
	w.b = w.b[1:]
	return v
}

// angle is mostly a plain one, now and then a hostile one.
func (w *wild) angle() unit.Angle {
	switch k := w.byte(); {
	case k == 255:
		return unit.Angle(math.NaN())
	case k == 254:
		return unit.Angle(math.Inf(-1))
	case k == 253 && len(w.b) >= 8:
		v := math.Float64frombits(binary.LittleEndian.Uint64(w.b))
		w.b = w.b[8:]
		return unit.Angle(v)
	default:
		return unit.Deg(float64(int8(k)) * 1.5)
	}
}

func (w *wild) sample() question.Sample {
	x := question.Sample{Time: w.n.m.at, Received: w.n.m.at, Doing: []question.Doing{"", question.AtRest, question.Tracking, question.Moving}[w.byte()%4]}
	w.n.m.at = w.n.m.at.Add(time.Duration(int8(w.byte())) * time.Second)
	if w.byte()%4 > 0 {
		x.Belief = &question.Belief{Sky: question.Sky{RA: w.angle(), Dec: w.angle() / 2, Frame: []question.Frame{question.ICRS, question.OfDate, "?"}[w.byte()%3]},
			Side: []rig.Side{"", rig.East, rig.West, rig.First, "?"}[w.byte()%5]}
	}
	for range w.byte() % 3 {
		x.Readings = append(x.Readings, question.Reading{Source: []rig.SourceKind{rig.AxisEncoder, rig.MotorCount, rig.Reckoned}[w.byte()%3], Axes: rig.Axes{A1: w.angle(), A2: w.angle()}})
	}
	if w.byte()%2 == 0 {
		a := w.angle()
		x.Sidereal = &a
	}
	if w.byte()%8 == 0 {
		x.Site = &question.Place{Lat: w.angle() / 2, Lon: w.angle()}
	}
	if w.byte()%8 == 0 {
		x.Time = time.Time{}
	}
	if w.byte()%8 == 0 {
		x.RunMark = string('a' + rune(w.byte()%3))
	}
	n := uint32(w.byte() % 4)
	x.SyncCount = &n
	return x
}

// step does one thing.
func (w *wild) step() {
	n := w.n
	x := w.sample()
	id := "none"
	if n.s.Permit != nil {
		id = n.s.Permit.ID
	}
	defer w.sawMark(&x)
	switch w.byte() % 12 {
	case 0:
		w.mark = ""
		n.take(Homed(n.w, n.s, question.Homing{ID: "h", At: n.m.at, Sensed: true, Axes: rig.Axes{A1: w.angle()}, Sigma: rig.DegAxes(1, 1)}, &x))
	case 1:
		n.take(Synced(n.w, n.s, "", w.byte()%2 == 0, &x))
	case 2:
		n.take(Acted(n.w, n.s, Act{Kind: []ActKind{ClutchOpened, PowerLost, PayloadChanged, PolarAxisAdjusted, ClockSet, SiteSet, DragStop, "?"}[w.byte()%8]}, &x))
	case 3:
		n.take(End(n.w, n.s, id, Done, &x))
	case 4:
		n.take(Begin(n.w, n.s, id, x))
	case 5:
		j := question.JudgedSolve{RequestID: "s", Good: true, Against: w.byte()%2 == 0, Pose: rig.Axes{A1: w.angle(), A2: w.angle()}, Solved: rig.Axes{A1: w.angle(), A2: w.angle()},
			Mid: n.m.at, Field: w.angle(), Blind: true}
		n.take(Evidence(n.w, n.s, j))
	case 6:
		at := n.m.at
		n.s.Permit = &question.Permit{ID: "p", State: []question.PermitState{question.Granted, question.Begun}[w.byte()%2], Asked: at, BegunAt: &at, StartBy: at.Add(9 * time.Second), StopBy: at.Add(time.Minute),
			Action: question.Action{Kind: []question.Kind{question.Slew, question.Track, question.Home, question.Jog}[w.byte()%4]}, Ends: []rig.Axes{{A1: w.angle(), A2: w.angle()}}, Tracks: w.byte()%2 == 0, Epoch: n.s.Epoch}
	case 7:
		n.s, _ = Lapse(n.s, n.m.at)
	case 8:
		n.s = Withdraw(n.s, "because", n.m.at)
	default:
		n.take(Observe(n.w, n.s, x))
	}
}

// sawMark checks that a homing outlives no second run mark.
func (w *wild) sawMark(x *question.Sample) {
	s := w.n.s
	if s.Homing == nil {
		w.mark = ""
	}
	if s.Homing == nil || s.Sample == nil || x.RunMark == "" || s.Sample.RunMark != x.RunMark || !s.Sample.Time.Equal(x.Time) || !s.Sample.Received.Equal(x.Received) {
		return // not taken in, or nothing to void
	}
	require.True(w.n.t, w.mark == "" || w.mark == x.RunMark, "homed in run %s, and now it is run %s\n%s", w.mark, x.RunMark, w.n.said())
	w.mark = x.RunMark
}

// wellFormed checks the invariants of a state that hold whatever came in.
func wellFormed(t *testing.T, w World, s question.RigState) {
	switch n := len(s.Pose.Candidates); s.Pose.State {
	case question.Known:
		require.Equal(t, 1, n)
		require.NotNil(t, s.Homing, "known without a homing")
		require.Empty(t, s.Doubt, "known and in doubt")
	case question.Candidates:
		require.Positive(t, n)
	case question.Unknown, "": // empty: nothing came in yet
		require.Zero(t, n)
	default:
		require.Fail(t, "no such state", "%q", s.Pose.State)
	}
	for _, c := range At(w, s, dusk.Add(time.Hour)).Candidates {
		require.True(t, c.Axes.Finite() && c.Sigma.Finite() && c.Sigma.A1 >= 0 && c.Sigma.A2 >= 0, "%+v", c)
	}
	require.LessOrEqual(t, len(s.Recent), maxMarks)
}

// variantsOfFuzz are the rigs that the fuzzer picks from.
func fuzzRig(k byte) *rig.Rig {
	r := newRig([]rig.Kind{rig.German, rig.Fork, rig.AltAzimuth}[k%3], []float64{48, -33}[k/3%2])
	r.Mount.Sync = []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky, rig.KeptUnknown, rig.KeptInModel, rig.NotKept}[k/6%5]
	r.Mount.SideSensed, r.Mount.FlipsItself, r.Mount.CountsSyncs = k%2 == 0, k%7 == 0, k%5 == 0
	if k%4 < 2 {
		withEncoder(r)
	}
	if k%4 > 1 {
		withCount(r)
	}
	return r
}

// storm feeds one rig what the bytes make, and checks that a person's statement always gets it out.
func storm(t *testing.T, data []byte) {
	if len(data) == 0 {
		return
	}
	n := newNight(t, fuzzRig(data[0]))
	w := wild{b: data[1:], n: n}
	for len(w.b) > 0 {
		w.step()
		wellFormed(t, n.w, n.s)
	}
	x := n.m.sample()
	x.Time = n.m.at.Add(time.Hour)
	x.Received, x.Sidereal, x.Site = x.Time, nil, nil
	s, notes := Homed(n.w, n.s, question.Homing{ID: "out", At: x.Time, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x)
	require.Equal(t, question.Known, s.Pose.State, "%+v %+v", s.Pose, notes)
}

func FuzzAnything(f *testing.F) {
	g := rand.New(rand.NewPCG(1, 2))
	for k := range 60 {
		b := make([]byte, 40+k*8)
		for i := range b {
			b[i] = byte(g.Uint32())
		}
		b[0] = byte(k)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, data []byte) { storm(t, data) })
}

// The state that came in is never written to: the same call on it twice gives the same.
func TestCallsArePure(t *testing.T) {
	g := rand.New(rand.NewPCG(3, 4))
	for _, v := range variants() {
		n := v.night(t)
		n.home()
		for range 3 {
			n.lawful(g, v)
			n.m.wait(2 * time.Second)
			x := n.m.sample()
			a, na := Observe(n.w, n.s, x)
			_, _ = Acted(n.w, n.s, Act{Kind: PowerLost}, &x)
			_, _ = Evidence(n.w, n.s, n.solved(9, 9))
			_, _ = Synced(n.w, n.s, "", false, &x)
			b, nb := Observe(n.w, n.s, x)
			require.Equal(t, a, b)
			require.Equal(t, na, nb)
		}
	}
}
