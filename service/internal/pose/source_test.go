package pose

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The file says that the mount keeps a sync on its axes, or on the sky, and is wrong. After a change of side the counts show it: they are
// followed, belief bears them out if its syncs are undone the other way, and nothing may go by a belief so kept.
func TestSyncKeptOtherwiseThanTheFileSays(t *testing.T) {
	for _, says := range []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky} {
		n := homed(t, withCount, func(r *rig.Rig) { r.Mount.Sync = says })
		n.m.keep = rig.KeptOnSky
		if says == rig.KeptOnSky {
			n.m.keep = rig.KeptOnAxes
		}
		n.crossedAfterSync()
		require.Contains(t, n.kinds(), OffEnd, n.said())
		require.Equal(t, question.Candidates, n.state(), n.said())
		require.Len(t, n.s.Pose.Candidates, 1, "%+v", n.s.Pose)
		require.Contains(t, n.s.Doubt, "mend the file", n.said())
		n.honest()
		n.wayOut()
	}
}

// What samples disproved of the file outlives a homing and a restart, which folds the state from its text, until another revision of the
// file is in force: both forms count, so the next change of side, after the next sync, comes to rest at an end that was predicted.
func TestWhatSamplesDisprovedIsKept(t *testing.T) {
	for _, mended := range []bool{false, true} {
		n := homed(t, withCount)
		n.m.keep = rig.KeptOnSky
		n.crossedAfterSync()
		require.Contains(t, n.kinds(), OffEnd, n.said())
		n.m.doing, n.m.sky = question.AtRest, [2]unit.Angle{}
		n.home()
		text, err := json.Marshal(n.s)
		require.NoError(t, err)
		n.s = question.RigState{}
		require.NoError(t, json.Unmarshal(text, &n.s))
		if mended {
			r := *n.w.Rig
			r.Digest[0]++
			n.w.Rig = &r
		}
		n.crossedAfterSync()
		if mended {
			require.Contains(t, n.kinds(), OffEnd, n.said())
			continue
		}
		require.NotContains(t, n.kinds(), OffEnd, n.said())
		require.Equal(t, question.Known, n.state(), "%+v", n.s.Pose)
		n.honest()
	}
}

// An entry from before anything was kept of this reads as not disproved.
func TestNothingDisprovedInOldEntries(t *testing.T) {
	var s question.RigState
	require.NoError(t, json.Unmarshal([]byte(`{"epoch": 3, "pose": {"state": "unknown"}}`), &s))
	r := newRig(rig.German, 48)
	require.Same(t, r, AsShown(r, s))
	s.Disproved = &question.Disproof{Says: r.Mount.Sync, RigDigest: r.Digest}
	require.Equal(t, rig.KeptUnknown, AsShown(r, s).Mount.Sync)
	require.Equal(t, rig.KeptOnAxes, r.Mount.Sync)
}

// crossedAfterSync tracks, syncs by two degrees, and goes across to the other side.
func (n *night) crossedAfterSync() {
	n.t.Helper()
	n.tracked(-3, 35)
	n.syncOff(0, 2.2)
	require.Equal(n.t, question.Known, n.state(), n.said())
	n.m.wait(40 * time.Minute)
	n.look()
	n.forget()
	ra, d := n.target(7, 35)
	n.slew(ra, d, rig.East, time.Hour)
}

// The same wrong file with belief alone: by the pole, belief does what no axis can, and the turn that it is followed on may be another.
// Whatever it says, no place outside travel is held.
func TestBeliefIsFollowedToNoPlaceOutsideTravel(t *testing.T) {
	for _, h := range []float64{4, 7, 20} {
		n := homed(t)
		n.m.keep, n.w.Rig.Mount.Sync = rig.KeptOnSky, rig.KeptOnAxes
		n.loose = true
		n.tracked(-3, 30)
		n.syncOff(0, 2.2)
		n.m.wait(30 * time.Minute)
		n.look()
		ra, d := n.target(h, 30)
		n.slew(ra, d, rig.East, time.Hour)
		for _, c := range n.s.Pose.Candidates {
			require.False(t, begin(n.w, n.s).outsideTravel(c), "%s\n%s", c.Axes, n.said())
		}
		n.wayOut()
	}
}

// The mount's clock is set by two minutes while the tube points at the pole, and nothing tells it but belief: half a degree of axis 1, next to
// nothing on the sky. The place from before stays within what is held.
func TestAClockSetAtThePole(t *testing.T) {
	n := homed(t)
	n.m.wait(2 * time.Second)
	x := n.m.sample()
	x.Sidereal = nil
	n.take(Observe(n.w, n.s, x))
	n.m.wait(2 * time.Second)
	y := n.m.sample()
	y.Sidereal = nil
	y.Belief.Sky.RA = (y.Belief.Sky.RA + 0.5*unit.Degree).Positive()
	n.take(Observe(n.w, n.s, y))
	n.honest()
}
