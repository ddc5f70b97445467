package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The machine's own count of time goes by one start of it, and from instant to instant as they do.
func TestMachineCountsItsOwnTime(t *testing.T) {
	now := time.Now()
	a, b := machineUp(now), machineUp(now.Add(-time.Hour))
	require.NotNil(t, a)
	require.NotNil(t, b)
	assert.Regexp(t, `^[0-9a-f-]{36}$`, a.Boot)
	assert.Equal(t, a.Boot, b.Boot)
	assert.Positive(t, a.For)
	assert.InDelta(t, time.Hour.Seconds(), (a.For - b.For).Seconds(), 60, "read one after the other")
}
