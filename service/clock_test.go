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
	asleep time.Duration
	synced bool
	bound  float64
}

func newTwin(told *float64) *twin {
	c := &twin{wall: began}
	c.w = newWallClock(func() (bool, float64) { return c.synced, c.bound }, func() time.Duration { return c.asleep }, told, began)
	return c
}

// tick lets both hands go on by mono, and the wall clock by jump besides.
func (c *twin) tick(mono, jump time.Duration) question.Clock {
	c.mono += mono
	c.wall = c.wall.Add(mono + jump)
	return c.w.at(reading{c.wall, c.mono, c.asleep})
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

// A slewing kernel moves the wall clock by at most 500 ppm: that is no jump, however long nobody looks. A suspended machine is one, where
// no kernel tells of its sleep.
func TestSlewIsNoJumpAndSuspendIsOne(t *testing.T) {
	x := newTwin(nil)
	assert.Empty(t, x.tick(10*time.Hour, 18*time.Second).Jumped)
	assert.Contains(t, x.tick(time.Second, 8*time.Hour).Jumped, "+28800.0 s", "the monotonic clock stood still meanwhile")
}

// Faults, row 19: the monotonic clock stands still in sleep, and the boot clock does not: what was seen is called a sleep, not a clock that
// somebody set, and a clock that was set besides is told too.
func TestSleepIsToldFromAClockThatWasSet(t *testing.T) {
	told := 1.0
	for name, c := range map[string]struct {
		slept, set time.Duration
		says       string
	}{
		"slept":               {8 * time.Hour, 0, "this machine slept for 28800.0 s"},
		"a second":            {time.Second, 0, "this machine slept for 1.0 s"},
		"slept, and was set":  {time.Hour, 2 * time.Hour, "this machine slept for 3600.0 s, and this machine's clock jumped by +7200.0 s: it reads 2026-11-14 21:00:01 UTC where 2026-11-14 19:00:01 UTC was due"},
		"set, and not asleep": {0, time.Hour, "this machine's clock jumped by +3600.0 s"},
		"neither":             {0, 0, ""},
		"two readings apart":  {400 * time.Millisecond, 0, ""},
		"less than before":    {-time.Hour, 0, ""}, // what a kernel without one of the clocks would say
	} {
		x := newTwin(&told)
		require.Empty(t, x.tick(0, 0).Jumped, name)
		x.asleep += c.slept
		got := x.tick(time.Second, max(0, c.slept)+c.set)
		if c.says == "" {
			assert.Empty(t, got.Jumped, name)
			continue
		}
		assert.Contains(t, got.Jumped, c.says, name)
		assert.Equal(t, c.slept == 0, !strings.Contains(got.Jumped, "slept"), name)
		assert.Nil(t, got.ToldAt, "%s: a person's word does not outlive it", name)
		assert.NotEmpty(t, x.tick(58*time.Second, 0).Jumped, name)
		assert.Empty(t, x.tick(3*time.Second, 0).Jumped, name)
	}
}

// The kernel's own two clocks: this machine has slept for as long as it has, and not less a moment later.
func TestMachineSleptIsSteady(t *testing.T) {
	first := machineSlept()
	assert.GreaterOrEqual(t, first, time.Duration(0))
	for range 1000 {
		assert.InDelta(t, first.Seconds(), machineSlept().Seconds(), sleepBound.Seconds())
	}
}

// Faults, row 19: leave is taken back once for each sleep, by whoever looks first, and only for one.
func TestSleeperWakesOnce(t *testing.T) {
	slept := time.Hour // before the service was started
	s := newSleeper(func() time.Duration { return slept })
	s.look()
	var whys []string
	s.waking(func(why string) { whys = append(whys, why) })
	s.look()
	assert.Empty(t, whys)
	slept += 90 * time.Second
	s.look()
	s.look()
	slept += 400 * time.Millisecond
	s.look()
	slept += 400 * time.Millisecond
	s.look()
	assert.Equal(t, []string{"this machine slept for 90.0 s: nobody watched what happened meanwhile", "this machine slept for 0.8 s: nobody watched what happened meanwhile"}, whys)
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
	assert.Empty(t, x.w.at(reading{began.Add(4 * time.Second), 4 * time.Second, 0}).Jumped)
	assert.Empty(t, x.tick(time.Second, 0).Jumped)
}

// The machine's own clock, read twice, has not jumped, and an unsynchronised kernel bounds nothing.
func TestReadGoesByTheMonotonicReading(t *testing.T) {
	w := newWallClock(func() (bool, float64) { return false, 16 }, machineSlept, nil, time.Now())
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
