package pose

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

var seed = flag.Uint64("seed", 7, "of the random walks")

// variant is one simulated rig of the walk.
type variant struct {
	kind   rig.Kind
	lat    float64
	file   rig.SyncKeeping // what the file says
	keep   rig.SyncKeeping // what the mount does
	source rig.SourceKind
	sensed bool
}

func (v variant) String() string {
	return fmt.Sprintf("%s %+.0f° file %s mount %s by %s sensed %t", v.kind, v.lat, v.file, v.keep, v.source, v.sensed)
}

func variants() (out []variant) {
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		for _, lat := range []float64{48, -33} {
			for _, f := range [][2]rig.SyncKeeping{{rig.KeptOnAxes, rig.KeptOnAxes}, {rig.KeptOnSky, rig.KeptOnSky}, {rig.KeptUnknown, rig.KeptOnAxes}, {rig.KeptUnknown, rig.KeptOnSky}} {
				for _, s := range []rig.SourceKind{rig.AxisEncoder, rig.MotorCount, rig.UnsyncedBelief} {
					out = append(out, variant{k, lat, f[0], f[1], s, true})
				}
				out = append(out, variant{k, lat, f[0], f[1], rig.UnsyncedBelief, false})
			}
		}
	}
	return out
}

func (v variant) night(t testing.TB) *night {
	r := newRig(v.kind, v.lat)
	r.Mount.Sync, r.Mount.SideSensed = v.file, v.sensed
	r.Sources = []rig.Source{{Kind: v.source, Sigma: rig.DegAxes(0.05, 0.05)}}
	n := newNight(t, r)
	n.m.keep = v.keep
	return n
}

// A night of lawful slews, tracking, syncs with leave and dithers: the axes are always one of the places held, nothing is called
// unasked, and, unless a sync of unknown keeping makes two places of one, the pose stays known.
func TestLawfulWalkKeepsThePose(t *testing.T) {
	for i, v := range variants() {
		t.Run(v.String(), func(t *testing.T) {
			g := rand.New(rand.NewPCG(*seed, uint64(i)))
			n := v.night(t)
			n.m.fault = rig.Axes{A1: unit.Deg(g.NormFloat64() * 0.2), A2: unit.Deg(g.NormFloat64() * 0.2)}
			n.home()
			require.Equal(t, question.Known, n.state(), n.said())
			for range 12 {
				n.lawful(g, v)
			}
			for _, x := range n.notes {
				require.NotContains(t, []Kind{UnaskedSync, UnaskedMotion, Jump, Frozen, OffWay, Demoted, NothingToCount, SyncMissed}, x.Kind, n.said())
			}
			if v.file != rig.KeptUnknown || v.source != rig.UnsyncedBelief {
				require.Equal(t, question.Known, n.state(), "%+v\n%s", n.s.Pose, n.said())
			}
		})
	}
}

// lawful is one target of a night.
func (n *night) lawful(g *rand.Rand, v variant) {
	h, dec := n.reachable(g)
	ra, d := n.target(h, dec)
	n.slew(ra, d, sideFor(v.kind, h), 30*time.Minute)
	for range g.IntN(5) {
		n.m.wait(time.Duration(1+g.IntN(200)) * time.Second)
		n.look()
	}
	if g.IntN(2) == 0 {
		n.syncOff(g.NormFloat64()*0.4, g.NormFloat64()*0.4)
	}
	for range g.IntN(4) {
		n.m.wait(20 * time.Second)
		n.m.axes = n.m.axes.Add(rig.Axes{A1: unit.Arcsec(g.NormFloat64() * 10), A2: unit.Arcsec(g.NormFloat64() * 10)})
		n.look()
	}
}
