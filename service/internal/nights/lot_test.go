package nights_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/nights"
)

// lotRigs are the rigs of nights that are drawn by lot: heron as it is, and changed.
var lotRigs = map[string]string{
	"counts":   "",
	"encoders": encoders,
	"belief":   belief,
	"belief alone, nothing told": belief + `
change "tells_restarts: yes" to "tells_restarts: no"
change "counts_syncs: yes" to "counts_syncs: no"
change "side_is_sensed: yes" to "side_is_sensed: no"`,
	"sync on the sky": belief + `
change "keeps_sync_on: axes" to "keeps_sync_on: sky"`,
	"sync kept who knows how": belief + `
change "keeps_sync_on: axes" to "keeps_sync_on: unknown"`,
	"sync kept who knows how, on the sky in truth": belief + `
change "keeps_sync_on: axes" to "keeps_sync_on: unknown"
truly "keeps_sync_on: unknown" to "keeps_sync_on: sky"`,
	"reckoned": `change "  - kind: motor count\n    clutch_side: motor\n" to "  - kind: reckoned\n"`,
	"south": belief + `
change "latitude_deg: 46.20" to "latitude_deg: -46.20"
change "crossing_north_of_hub_mm: 125" to "crossing_north_of_hub_mm: -125"
change "leg_azimuths_deg: [0, 120, 240]" to "leg_azimuths_deg: [180, 300, 60]"`,
}

const (
	encoders = `change "  - kind: motor count\n    clutch_side: motor\n" to "  - kind: axis encoder\n    clutch_side: axis\n"`
	belief   = `change "  - kind: motor count\n    clutch_side: motor\n    sigma_deg: [0.02, 0.02]" to "  - kind: unsynced belief\n    clutch_side: motor\n    sigma_deg: [0.05, 0.05]"`
)

// lotEvents are what may happen in such a night: what was asked, what nobody asked for, what samples lack. None of it is a thing that the rig's
// sources cannot show (a slipped clutch to counts): those have nights of their own; nor a false solve near another of the places held, which
// nothing catches.
func lotEvents(g *rand.Rand) string {
	off := func(least, most float64) string {
		a := func() float64 { return (least + (most-least)*g.Float64()) * float64(2*g.IntN(2)-1) }
		return fmt.Sprintf("%.2f %.2f", a(), a())
	}
	how := []string{"", "", "", " unseen", " untold", " cut 4s", " cut 9s", " unmoved"}[g.IntN(8)]
	slew := fmt.Sprintf("ask slew %.2f %.2f track 20m%s -> anything", 360*g.Float64(), 100*g.Float64()-20, how)
	all := []string{
		slew, slew, slew, slew, slew,
		"ask flip track 15m" + how + " -> anything",
		"ask sync -> anything", "ask sync -> anything",
		"ask sync false " + off(12, 20) + " -> anything",
		"ask jog " + off(0, 5) + " rate 0.5 track 10m" + how + " -> anything",
		"ask home axis1-first" + how + " -> anything",
		"ask home axis1-first -> anything",
		"ask axes 0 0 -> anything",
		fmt.Sprintf("ask axes %.1f %.1f%s -> anything", 80*g.Float64()-40, 120*g.Float64()-60, how),
		"report seen truly", "report seen truly\nask home axis1-first -> anything",
		"mount synced-by-another " + off(1, 15),
		"mount hand-controller " + off(2, 10),
		"mount power-dip", "report act power lost", "mount tracks", "mount stops", "mount clock 2m", "mount clock 0s",
		"samples bare", "samples whole", "samples whole", "samples without belief", "samples without readings", "wait 3m silent", "restart", "wait 20m",
	}
	return all[g.IntN(len(all))]
}

// lot draws a night.
func lot(g *rand.Rand, rig string) string {
	var b strings.Builder
	b.WriteString("Drawn by lot.\n\nrig heron\n" + rig + "\nstart 2026-11-14T18:20Z\nattended R. Alder\nmount looks 0.4 1.1\nreport seen\nreport proved 4\nask home -> allow\n")
	for range 14 {
		b.WriteString(lotEvents(g) + "\nwait 2s\nexpect truth held or unknown\nwait 40s\nexpect truth held or unknown\n")
	}
	return b.String()
}

// Nights drawn by lot, of every rig: whatever happens, the axes are at one of the places held, or the pose is unknown. KEEPCLEAR_LONG=1 draws
// many.
func TestNightsByLot(t *testing.T) {
	draws := 1
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		draws = 28
	}
	for name, rig := range lotRigs {
		for i := range draws {
			t.Run(fmt.Sprintf("%s %d", name, i), func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				require.NoError(t, os.Mkdir(filepath.Join(dir, "nights"), 0o700))
				text := lot(rand.New(rand.NewPCG(uint64(i), uint64(len(name)))), rig)
				require.NoError(t, os.WriteFile(filepath.Join(dir, "nights", "lot.txt"), []byte(text), 0o600))
				_, err := nights.Play(dir, "lot.txt", filepath.Join(dir, "record"))
				require.NoError(t, err, text)
			})
		}
	}
}
