package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// TestWhoBreaksOffLeavesNoEntryBehind: an asker who panics between the entry that he appended and his wait for it has the flusher write it. Nobody
// else would, before the next.
func TestWhoBreaksOffLeavesNoEntryBehind(t *testing.T) {
	for name, do := range map[string]func(b *bench) error{
		"a question": func(b *bench) error { _, err := b.slew(zero, rig.DegAxes(20, -40)); return err },
		"a report":   func(b *bench) error { _, err := b.report(decide.Report{Sample: b.sample(zero)}); return err },
	} {
		b := newBench(t)
		b.home()
		on := b.rec.Head("crane")
		_, err := b.rec.Append(record.Draft{Chain: "crane", Time: b.clock(), Body: []byte("{}"), Awaited: true, Index: record.Index{Kind: state.Asked, Rig: "crane"}}, on)
		require.NoError(t, err)
		b.onEntering(func(room string) {
			if room == "facts" {
				panic("boom")
			}
		})
		require.PanicsWithValue(t, "boom", func() { _ = do(b) }, name)
		b.onEntering(nil)
		require.Eventually(t, func() bool { return b.rec.Heads()["crane"] == b.rec.Head("crane") }, 10*time.Second, time.Millisecond, name)
		require.NoError(t, do(b), "%s: the turn is free", name)
	}
}

// TestAReportThatBreaksOffIsNotOnRecord: what is replied is worked out before the entry is appended.
func TestAReportThatBreaksOffIsNotOnRecord(t *testing.T) {
	looks := func(b *bench, at int) (n int) {
		b.onEntering(func(room string) {
			if room != "facts" {
				return
			}
			if n++; n == at {
				panic("boom")
			}
		})
		defer b.onEntering(nil)
		defer func() { _ = recover() }()
		_, err := b.report(decide.Report{Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		assert.NoError(t, err)
		return n
	}
	b := newBench(t)
	b.home()
	n := looks(b, 0)
	require.Positive(t, n)
	for at := 1; at <= n; at++ {
		before := b.rec.Head("heron")
		require.Equal(t, at, looks(b, at))
		assert.Equal(t, before, b.rec.Head("heron"), "look %d of %d at the sky", at, n)
	}
}
