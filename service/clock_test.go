package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/question"
)

var began = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// twin is a clock whose two hands the test turns.
type twin struct {
	w      *wallClock
	wall   time.Time
	mono   time.Duration
	synced bool
	bound  float64
}

func newTwin(told *float64) *twin {
	c := &twin{wall: began}
	c.w = newWallClock(func() (bool, float64) { return c.synced, c.bound }, told, began)
	return c
}

// tick lets both hands go on by mono, and the wall clock by jump besides.
func (c *twin) tick(mono, jump time.Duration) question.Clock {
	c.mono += mono
	c.wall = c.wall.Add(mono + jump)
	return c.w.at(reading{c.wall, c.mono})
}

func TestClockJumpsHoldBothWays(t *testing.T) {
	for name, c := range map[string]struct {
		jump  time.Duration
		jumps bool
		says  string
	}{
		"an hour back":       {-time.Hour, true, "-3600.0 s: it reads 2026-11-14 17:00:01 UTC where 2026-11-14 18:00:01 UTC was due"},
		"a day forward":      {24 * time.Hour, true, "+86400.0 s"},
		"to 1970":            {-began.Sub(time.Unix(0, 0)), true, "it reads 1970-01-01"},
		"to 2106":            {time.Date(2106, 2, 7, 6, 28, 15, 0, time.UTC).Sub(began), true, "it reads 2106-02-07"},
		"a little over 2 s":  {2100 * time.Millisecond, true, "+2.1 s"},
		"a little under 2 s": {1900 * time.Millisecond, false, ""},
		"none":               {0, false, ""},
	} {
		told := 1.0
		x := newTwin(&told)
		x.synced, x.bound = true, 0.01
		require.Empty(t, x.tick(0, 0).Jumped, name)
		x.synced = false
		got := x.tick(time.Second, c.jump)
		assert.Equal(t, c.jumps, got.Jumped != "", name)
		assert.Contains(t, got.Jumped, c.says, name)
		assert.Equal(t, c.jumps, got.GoodAt == nil, "%s: what was known of the clock before it is void", name)
		assert.Equal(t, c.jumps, got.ToldAt == nil, "%s: a person's word too", name)
		assert.Equal(t, c.jumps, x.tick(58*time.Second, 0).Jumped != "", "%s: it holds for a minute", name)
		after := x.tick(3*time.Second, 0)
		assert.Empty(t, after.Jumped, name)
		assert.Equal(t, c.jumps, after.GoodAt == nil, "%s: and then nothing bounds it until somebody says so", name)
	}
}

// A kernel that takes the clock up again after a jump bounds it again.
func TestClockRecoversWithTheKernel(t *testing.T) {
	x := newTwin(nil)
	x.tick(time.Second, time.Hour)
	x.synced, x.bound = true, 0.02
	got := x.tick(61*time.Second, 0)
	assert.Empty(t, got.Jumped)
	assert.True(t, got.KernelSynced)
	assert.InDelta(t, 0.02, got.GoodBoundS, 1e-12)
	assert.Equal(t, x.wall, *got.GoodAt)
	x.synced = false
	got = x.tick(time.Hour, 0)
	assert.False(t, got.KernelSynced)
	assert.Equal(t, x.wall.Add(-time.Hour), *got.GoodAt, "the last instant at which it was good")
}

// A slewing kernel moves the wall clock by at most 500 ppm: that is no jump, however long nobody looks. A suspended machine is one.
func TestSlewIsNoJumpAndSuspendIsOne(t *testing.T) {
	x := newTwin(nil)
	assert.Empty(t, x.tick(10*time.Hour, 18*time.Second).Jumped)
	assert.Contains(t, x.tick(time.Second, 8*time.Hour).Jumped, "+28800.0 s", "the monotonic clock stood still meanwhile")
}

// A person's statement is dated when it was made, whenever the first question comes.
func TestStatementIsDatedAtTheStart(t *testing.T) {
	told := 1.0
	x := newTwin(&told)
	got := x.tick(10*time.Hour, 0)
	assert.Equal(t, began, *got.ToldAt)
	assert.InDelta(t, 1, got.ToldBoundS, 0)
}

// Two askers may look in another order than they came: the earlier instant is no jump back.
func TestEarlierLookSaysNothing(t *testing.T) {
	x := newTwin(nil)
	x.tick(10*time.Second, 0)
	assert.Empty(t, x.w.at(reading{began.Add(4 * time.Second), 4 * time.Second}).Jumped)
	assert.Empty(t, x.tick(time.Second, 0).Jumped)
}

// The machine's own clock, read twice, has not jumped, and an unsynchronised kernel bounds nothing.
func TestReadGoesByTheMonotonicReading(t *testing.T) {
	w := newWallClock(func() (bool, float64) { return false, 16 }, nil, time.Now())
	got := w.read(time.Now())
	assert.Empty(t, got.Jumped)
	assert.False(t, got.KernelSynced)
	assert.Nil(t, got.GoodAt)
	assert.Nil(t, got.ToldAt)
	synced, bound := kernelClock()
	if synced {
		assert.Positive(t, bound)
	} else {
		assert.Zero(t, bound)
	}
}

// A clock that holds everything is said to do so at the start, with what a person can do; one that is well known is not.
func TestStartSaysThatTheClockHolds(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		clock question.Clock
		says  string
	}{
		"nothing":          {question.Clock{}, "Nothing bounds the error of this machine's clock"},
		"kernel in doubt":  {question.Clock{KernelBoundS: 1}, "Nothing bounds"},
		"synchronised":     {question.Clock{KernelSynced: true, KernelBoundS: 0.5}, ""},
		"told":             {question.Clock{ToldAt: &began, ToldBoundS: 20}, ""},
		"told too loosely": {question.Clock{ToldAt: &began, ToldBoundS: 21}, "known only to 21 s, and 20 s is the most"},
	} {
		words := clockWords(c.clock, 20)
		if c.says == "" {
			assert.Empty(t, words, name)
			continue
		}
		assert.Contains(t, words, c.says, name)
		assert.Contains(t, words, "serve --clock-within SECONDS", name)
		for line := range strings.Lines(words) {
			assert.LessOrEqual(t, len([]rune(strings.TrimSpace(line))), 80, line)
		}
	}
	synced, _ := kernelClock()
	for within, silent := range map[string]bool{"2": true, "300": synced} {
		var out text
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan int)
		args := []string{"serve", "--listen", "127.0.0.1:0", "--rigs", rigFolder(t), "--record", filepath.Join(t.TempDir(), "r"), "--clock-within", within}
		go func() { done <- run(ctx, args, nil, &out, &out, time.Now) }()
		conn := connect(t, addressIn(t, &out))
		_, err := pb.NewRigServiceClient(conn).ListRigs(ctx, &pb.ListRigsRequest{}) // answered once the banner is out
		require.NoError(t, err)
		cancel()
		<-done
		conn.Close()
		assert.Equal(t, !silent, strings.Contains(out.String(), "is a hold.\nLet it synchronise"), "%s: %s", within, out.String())
	}
}
