package season

import (
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestTry(t *testing.T) {
	from, _ := strconv.Atoi(os.Getenv("TRY"))
	rigs, err := NewRigs()
	require.NoError(t, err)
	table, err := ReadTable(tableText)
	require.NoError(t, err)
	for seed := from; seed < from+3; seed++ {
		for _, g := range Gates()[:2] {
			start := time.Now()
			dir, _ := os.MkdirTemp("/dev/shm", "season")
			s, err := table.Play(rigs, table.Draw(uint64(seed), Wish{}), g, dir)
			os.RemoveAll(dir)
			require.NoError(t, err)
			t.Log(g.Name, s.Lot.String(), len(s.Asked), "asked", s.Slews, "slews", s.Missed, "missed", s.Visits, "visits", time.Since(start))
			for _, l := range s.Lines {
				t.Log(l)
			}
		}
	}
}
