package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// seenOn is the heron whose mount's limit was last seen to act on a day.
func seenOn(day string) string {
	return strings.Replace(string(practice.HeronFile()), "  stops_it: power relay      # drops the motors' power when nobody has spoken to it for a minute\n  after_s: 60\n",
		"  stops_it: mount limit\n  axis: 1\n  limit_deg: 96\n  last_seen: "+day+"\n", 1)
}

// TestDaysThatHaveNotBeen are faults, of the day that has begun nowhere, by the clock of whoever reads the file; a clock that was never set tells none.
func TestDaysThatHaveNotBeen(t *testing.T) {
	t.Parallel()
	at := func(text string) time.Time {
		now, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return now
	}
	r, bad := rig.Parse("heron.yaml", []byte(seenOn("2026-11-21")), nil)
	require.Empty(t, bad)
	for now, faults := range map[string]int{"2026-11-20T10:00:00Z": 0, "2026-11-20T09:59:59Z": 1, "2026-11-21T00:00:00Z": 0, "2026-11-01T00:00:00Z": 1, "1970-01-01T00:05:00Z": 0} {
		assert.Len(t, unlived(r, at(now)), faults, now)
	}
	for now, finds := range map[string]int{"2027-11-21T00:00:00Z": 0, "2027-11-21T00:00:01Z": 1, "2026-11-21T00:00:00Z": 0, "1970-01-01T00:05:00Z": 0} {
		assert.Len(t, longAgo(r, at(now)), finds, now)
	}
	heron, bad := rig.Parse("heron.yaml", practice.HeronFile(), nil)
	require.Empty(t, bad)
	assert.Empty(t, unlived(heron, at("2026-11-01T00:00:00Z")))
	assert.Empty(t, longAgo(heron, at("2026-11-01T00:00:00Z")))
}

// TestDaysAreHeldAgainstTheClock by check, by the API and by serve, which names what it can serve without.
func TestDaysAreHeldAgainstTheClock(t *testing.T) {
	t.Parallel()
	now := func() time.Time { return goldenTime }
	dir := t.TempDir()
	file := filepath.Join(dir, "heron.yaml")
	write := func(day string) { require.NoError(t, os.WriteFile(file, []byte(seenOn(day)), 0o600)) }
	told := func(args ...string) (int, string) {
		var out text
		code := run(t.Context(), args, nil, &out, io.Discard, now)
		return code, out.String()
	}
	write("2026-12-24")
	code, out := told("check", file)
	assert.Equal(t, exitCheck, code)
	const says = "if_asker_dies.last_seen: wanted a day that has been; today is 2026-11-14 (UTC), got 2026-12-24; write the day on which somebody saw the limit act"
	assert.Regexp(t, `heron\.yaml:\d+: `, out)
	assert.Contains(t, out, says)
	assert.Contains(t, out, "Faults: 1. The file does not load.\n")
	of, err := fileChecker(nil, now)(t.Context(), &pb.CheckRigRequest{Content: []byte(seenOn("2026-12-24"))})
	require.NoError(t, err)
	require.Len(t, of.GetFaults(), 1)
	assert.Equal(t, "if_asker_dies.last_seen", of.GetFaults()[0].GetKey())
	assert.Positive(t, of.GetFaults()[0].GetLine())

	wren, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", "wren.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "wren.yaml"), wren, 0o600))
	record := filepath.Join(t.TempDir(), "r.keepclear")
	var errs text
	assert.Equal(t, exitCheck, run(t.Context(), []string{"serve", "--rigs", dir, "--record", record, "--listen", "127.0.0.1:0"}, nil, io.Discard, &errs, now))
	assert.Contains(t, errs.String(), says)
	assert.Contains(t, errs.String(), file+" does not load: mend it (check FILE says more), or move it out of the folder to serve wren without")
	assert.NoFileExists(t, record)

	write("2025-11-13")
	code, out = told("check", file)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, strings.Join(strings.Fields(out), " "), "if_asker_dies.last_seen The limit in the mount was last seen to act on 13 November 2025, more than a year ago, and asker/fallback counts on it. Run the mount into it")
	write("2026-11-14")
	code, out = told("check", file)
	assert.Equal(t, exitDone, code)
	assert.NotContains(t, out, "more than a year ago")
}

// TestWhatARigHasIsToldByItsLine: of the list has_no, or of the file where it has none.
func TestWhatARigHasIsToldByItsLine(t *testing.T) {
	t.Parallel()
	for old, line := range map[string]bool{"has_no: [drag]\n": true, "": false} {
		r, bad := rig.Parse("heron.yaml", []byte(strings.Replace(string(practice.HeronFile()), "has_no: [drag, roof, neighbours]\n", old, 1)), nil)
		require.Empty(t, bad)
		require.NotEmpty(t, unjudged(r))
		for _, f := range unjudged(r) {
			assert.Equal(t, line, f.Line > 0, f)
			assert.Equal(t, "heron.yaml", f.File)
			assert.Equal(t, "has_no", f.Key)
		}
	}
}
