package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A night by its seed is told and scored; the same again is the same, to the letter.
func TestPracticeNight(t *testing.T) {
	t.Parallel()
	args := []string{"practice", "--seed", "3", "--kind", "bad", "--mechanism", "pattern", "--gate", "accept everything"}
	code, out := ran(t, args...)
	require.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "Seed 3: a bad night")
	assert.Contains(t, out, "FALSE solve (pattern")
	assert.Contains(t, out, "slew ends > 25° off")
	_, again := ran(t, args...)
	assert.Equal(t, out, again)
}

// A season of a night or two prints a column for each gate.
func TestPracticeSeason(t *testing.T) {
	t.Parallel()
	code, out := ran(t, "practice", "--seeds", "2-2", "--beside")
	require.Equal(t, exitDone, code, out)
	for _, want := range []string{"keepclear", "accept everything", "within 1° of belief", "two in a row agree", "deadlocks", "seeds 2 to 2"} {
		assert.Contains(t, out, want)
	}
}

func TestPracticeRefuses(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"--seeds", "9-1"}, {"--seeds", "x"}, {"--kind", "odd"}, {"--mechanism", "odd"}, {"--fault", "odd"}, {"--gate", "odd"}, {"--threads", "0", "--seeds", "1-2"}, {"7"}} {
		code, out := ran(t, append([]string{"practice"}, args...)...)
		assert.Equal(t, exitUsage, code, args)
		assert.NotContains(t, out, "Practice nights of", args)
	}
}
