package slow_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/slow"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// The two descriptions of a rig are of one rig: every pair is as far apart in both, at poses drawn by lot.
func TestBothStandInTheSamePlaces(t *testing.T) {
	for n := range 12 {
		s, err := stand(n)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(uint64(n), 99))
		part, general := s.drawn.limits["clear/path part_mm"], s.drawn.limits["clear/path general_mm"]
		scene := s.rig.Scene(nil, unit.Length(part), unit.Length(general))
		for range 6 {
			a := slow.Axes{7 * (rng.Float64() - 0.5), 7 * (rng.Float64() - 0.5)}
			placed := scene.Place(axes(a))
			least, by := 1e9, [2]string{}
			for _, p := range scene.Pairs {
				g := solid.Distance(placed[p.A], placed[p.B])
				if v := g.Upper - float64(p.Required); v < least {
					least, by = v, [2]string{scene.Names[scene.Bodies[p.A].Part], scene.Names[scene.Bodies[p.B].Part]}
				}
			}
			if got := s.slow.Clear(a, s.drawn.limits); least > -5 && least < 29 || got > -5 && got < 29 {
				assert.InDelta(t, least, got, 0.3, "rig %d %s at %v: %v", n, s.slow.Kind, a, by)
			}
		}
	}
}

// Parts touch at the same poses in both, overlap they by much or by little: to and fro alone finds an overlap of some millimetres of long round
// parts too slowly.
func TestBothTouchInTheSamePlaces(t *testing.T) {
	little := 0
	for n := range 12 {
		s, err := stand(n)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(uint64(n), 77))
		scene := s.rig.Scene(nil, 0, 0)
		for range 400 {
			a := slow.Axes{7 * (rng.Float64() - 0.5), 7 * (rng.Float64() - 0.5)}
			placed, least := scene.Place(axes(a)), 1e9
			for _, p := range scene.Pairs {
				least = min(least, solid.Distance(placed[p.A], placed[p.B]).Upper)
			}
			if least > -0.2 && least < 0.2 {
				continue
			}
			if least < 0 && least > -10 {
				little++
			}
			assert.Equal(t, least < 0, s.slow.Touches(a, s.drawn.limits), "rig %d %s at %v: %v mm", n, s.slow.Kind, a, least)
		}
	}
	assert.Greater(t, little, 50)
}

// A look that begins where the last one ended finds what one finds that begins anew, be the poses near each other or far apart; to and fro is
// not at its end after all its turns where long parts lie along each other.
func TestWhatWasSeenBeforeChangesNothing(t *testing.T) {
	near, far := 0, 0
	for n := range 12 {
		s, err := stand(n)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(uint64(n), 55))
		one, at := s.slow.Clears(s.drawn.limits), slow.Axes{}
		for k := range 300 {
			if at = plus(at, slow.Axes{0.02 * rng.NormFloat64(), 0.02 * rng.NormFloat64()}); k%20 == 0 {
				at = slow.Axes{7 * (rng.Float64() - 0.5), 7 * (rng.Float64() - 0.5)}
			}
			anew, got := s.slow.Clear(at, s.drawn.limits), one(at)
			if anew < -8 && got < -8 { // nobody looks further
				far++
				continue
			}
			near++
			assert.InDelta(t, anew, got, 0.3, "rig %d at %v", n, at)
		}
	}
	assert.Greater(t, near, 1000)
	assert.Greater(t, far, 100)
}

// onceDiffered are questions of which the two once thought otherwise, and who was wrong or said more than it knew.
func onceDiffered() map[int]string {
	return map[int]string{
		1_006_933:  "the service: where a slew by axes began elsewhere and ends at the angles asked for, belief may be beyond a limit in the mount",
		4_017_458:  "the second opinion: by its belief the rig passes near the zenith, and who proves it may not tell where it is then",
		4_038_470:  "the second opinion, the same",
		4_039_188:  "the service: at the margin to a hair it looked no farther for a break of it, and held for a deny",
		4_072_635:  "the service, the same",
		4_081_683:  "the second opinion: of a rig that tracks, a proof may count the sky's turning near the zenith, where a jog ends",
		5_026_211:  "the second opinion: counters may stand on the turn of the likeliest place",
		5_031_159:  "the service: a travel that is crossed from every place, at one end or the other, is denied",
		5_034_900:  "the service, the same",
		5_045_253:  "the service: axis 2, from every place",
		5_046_447:  "the second opinion: near the zenith it is not known where UT1 has the sky",
		5_046_638:  "the service: travel, by belief too",
		5_046_753:  "the second opinion: without UT1 the Sun may have set later",
		5_112_864:  "the second opinion: what air does to a mount that believes it points 32° below the horizon nobody knows",
		5_114_003:  "the second opinion: the limit of an equatorial that tracks acts where it is reached upward, wherever the way there began",
		7_004_219:  "the second opinion: what the mount means near the zenith moves as the sky turns, and with it where belief makes it end",
		7_022_923:  "the service: with the turn near the zenith unknown the tube was found to a twentieth of its sine, and a creep held for the Sun",
		7_029_864:  "the second opinion: what air does to a target far below the horizon nobody knows",
		7_029_888:  "the second opinion, the same: two turns as near to a hair",
		7_029_903:  "the second opinion, the same",
		7_029_926:  "the second opinion, the same: axis 2",
		5_110_299:  "the second opinion: where air lifts the tube onto the end of axis 1, it is not known which of two poses there is nearer to a third",
		20_005_486: "the second opinion: the proof finds the least altitude over a wide pose to a third of a degree at most, so a tenth of one that a homing sinks first is none",
		20_052_006: "the second opinion: a mount sent to the sky believes itself at its target, so a limit in it acts from there, wherever the rig began",
		21_047_280: "the second opinion: ten minutes of arc from where it is expected, to a hair",
	}
}

func TestWhatOnceDifferedAgrees(t *testing.T) {
	for n, who := range onceDiffered() {
		s, err := stand(n / perRig)
		require.NoError(t, err)
		r := newResult()
		r.look(s, n)
		require.Equal(t, 1, r.questions)
		assert.Empty(t, append(r.wrong, r.passes...), "question %d: %s", n, who)
		r.agrees(t)
	}
}
