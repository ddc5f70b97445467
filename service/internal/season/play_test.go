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
	to, _ := strconv.Atoi(os.Getenv("TO"))
	rigs, err := NewRigs()
	require.NoError(t, err)
	rigs.Story = os.Getenv("STORY") != ""
	table, err := ReadTable(tableText)
	require.NoError(t, err)
	dir, err := Memory()
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	if rigs.Story {
		s, err := table.Play(rigs, table.Draw(uint64(from), Wish{}), Gates()[0], dir)
		require.NoError(t, err)
		t.Log(s.Lot.String())
		for _, l := range s.Lines {
			t.Log(l)
		}
		return
	}
	start := time.Now()
	totals, err := table.Season(t.Context(), rigs, Gates(), uint64(from), uint64(to), Wish{}, 2, dir)
	require.NoError(t, err)
	Print(os.Stdout, totals)
	PrintCauses(os.Stdout, totals[0])
	t.Log(time.Since(start))
}
