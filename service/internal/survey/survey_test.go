package survey_test

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/unit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// wren is an example rig, whose map takes little time, with the default limits: one reading of its file.
func wren(t *testing.T) survey.Of {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "rigs", "wren.yaml"))
	require.NoError(t, err)
	r, faults := rig.Parse("wren.yaml", content, nil)
	require.Empty(t, faults)
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	own := limits.Layer{Name: "rig wren", Entries: []limits.Entry{
		{Rule: "travel/axis1", Name: "low_deg", Value: -100.0}, {Rule: "travel/axis1", Name: "high_deg", Value: 100.0},
		{Rule: "travel/axis2", Name: "low_deg", Value: -95.0}, {Rule: "travel/axis2", Name: "high_deg", Value: 60.0},
	}}
	set, err := limits.Merge(defs, own)
	require.NoError(t, err)
	return survey.Of{Rig: r, Limits: set, Band: unit.Deg(90)}
}

// counted surveys and counts how often it was told how far the work is.
func counted(t *testing.T, s *survey.Surveyor, of survey.Of) int {
	t.Helper()
	told := 0
	_, err := s.Survey(t.Context(), of, func(float64) { told++ })
	require.NoError(t, err)
	return told
}

// TestMapsAreKept for the same revision, limits and gap, whoever reads the file, and for nothing else.
func TestMapsAreKept(t *testing.T) {
	s, of := survey.New(nil), wren(t)
	assert.Positive(t, counted(t, s, of))
	assert.Zero(t, counted(t, s, wren(t)), "the same revision read again")
	narrow := of
	narrow.Band = unit.Deg(10)
	assert.Zero(t, counted(t, s, narrow), "bands are not the map's")

	assert.Positive(t, counted(t, s, withGap(of, far)), "another gap")
	assert.Zero(t, counted(t, s, withGap(of, far)))
	assert.Positive(t, counted(t, s, withGap(of, 0)), "a gap of nothing is none of the margins")

	wider := withGap(of, far)
	wider.Widened = 3
	assert.Positive(t, counted(t, s, wider), "wider gaps")
	assert.Zero(t, counted(t, s, of))

	changed := *of.Rig
	changed.Digest[0] ^= 1
	other := withGap(of, far)
	other.Rig = &changed
	assert.Positive(t, counted(t, s, other), "another revision")
	assert.Zero(t, counted(t, s, of), "the first is still kept")
	told := withGap(of, far)
	told.Parts = []rig.PartState{{Part: "roof", Name: "open"}}
	assert.Positive(t, counted(t, s, told), "parts in other states: a map of its own")
	assert.Positive(t, counted(t, s, withGap(of, far+1)))
	assert.Positive(t, counted(t, s, withGap(of, far)), "the one that was not used for longest made room")
	assert.Zero(t, counted(t, s, of))
}

// far is a gap that no pose keeps: its map takes next to no time.
const far = 9000.0

func withGap(of survey.Of, mm float64) survey.Of {
	gap := unit.Length(mm)
	of.Gap = &gap
	return of
}

// TestSurveyStopsWithItsCaller: no more of the map is worked out, and nothing of it is kept.
func TestSurveyStopsWithItsCaller(t *testing.T) {
	s, of := survey.New(nil), wren(t)
	ctx, cancel := context.WithCancel(t.Context())
	told := 0
	out, err := s.Survey(ctx, of, func(share float64) {
		if told++; told == 3 {
			cancel()
		}
	})
	assert.Nil(t, out)
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, 3, told)
	_, err = s.Survey(ctx, of, func(float64) { t.Error("nothing is begun for a caller who is gone") })
	require.ErrorIs(t, err, context.Canceled)
	assert.Positive(t, counted(t, s, of), "half a map is not kept")
}

// TestOneIsWorkedOutAtATime: who comes second waits, and may go.
func TestOneIsWorkedOutAtATime(t *testing.T) {
	s, of := survey.New(nil), wren(t)
	done, err := s.Turn(t.Context())
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	var waiting sync.WaitGroup
	began := make(chan struct{})
	waiting.Go(func() {
		close(began)
		_, err := s.Survey(ctx, of, func(float64) { t.Error("two at a time") })
		assert.ErrorIs(t, err, context.Canceled)
	})
	<-began
	cancel()
	waiting.Wait()
	done()
	assert.Positive(t, counted(t, s, of))
}
