package sim_test

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/sim"
)

// members are the rigs, read once and outside of every bubble.
var members = sync.OnceValues(func() (sim.Members, error) { return sim.Load("../../../testdata/rigs") })

// play plays one night in a bubble of its own.
func play(t *testing.T, p sim.Plan) sim.Result {
	t.Helper()
	var err error
	p.Members, err = members()
	require.NoError(t, err)
	p.Dir = t.TempDir()
	var out sim.Result
	synctest.Test(t, func(t *testing.T) {
		out, err = sim.Run(p, sim.Bubble{Now: time.Now, Sleep: time.Sleep, After: time.After, Wait: synctest.Wait})
	})
	require.NoError(t, err)
	return out
}

// again is how a night is played once more.
func again(seed uint64) string {
	return fmt.Sprintf("KEEPCLEAR_SIM=%d go test ./service/internal/sim -run TestOneNight -v", seed)
}

// TestOneNight plays the night of KEEPCLEAR_SIM, or a first one, and prints its whole history if it was asked for.
func TestOneNight(t *testing.T) {
	seed, asked := uint64(1), os.Getenv("KEEPCLEAR_SIM")
	if asked != "" {
		var err error
		seed, err = strconv.ParseUint(asked, 10, 64)
		require.NoError(t, err)
	}
	from := time.Now()
	r := play(t, sim.Plan{Seed: seed, Keep: asked != ""})
	if asked != "" {
		t.Log("\n" + strings.Join(r.Lines, "\n"))
	}
	t.Logf("%v %v %v %+v %s", r.Length, r.Rigs, r.Faults, r.Count, time.Since(from))
	require.Empty(t, r.Wrong, again(seed))
}
