package faults_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/faults"
)

func TestSetWallMovesOneHandOnly(t *testing.T) {
	for _, by := range []time.Duration{-time.Hour, 24 * time.Hour, -time.Second, 0} {
		first := time.Date(2026, 11, 14, 18, 0, 0, 123, time.UTC)
		c := faults.NewClock(time.Now(), first)
		a := c.Now()
		assert.True(t, a.Round(0).Equal(first))
		c.Wait(5 * time.Second)
		c.StepAt(0, by)
		b := c.Now()
		assert.Equal(t, 5*time.Second, b.Sub(a), "%s: by the monotonic hand", by)
		assert.Equal(t, 5*time.Second+by, b.Round(0).Sub(a.Round(0)), "%s: by the wall", by)
	}
}

func TestClockStepsAtTheReadingAsked(t *testing.T) {
	c := faults.NewClock(time.Now(), time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC))
	c.Now()
	c.StepAt(2, time.Hour)
	at := c.Now()
	for range 2 {
		got := c.Now()
		assert.Equal(t, time.Hour, got.Round(0).Sub(at.Round(0)))
		assert.Zero(t, got.Sub(at))
	}
	assert.Equal(t, 4, c.Reads())
}
