package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
)

// Fault 48: a sample that is late, dated ahead or of another homing is left aside, and why is told; a doubled one is no news; one after
// a gap is taken in, and the gap is told.
func TestSamplesLeftAsideSayWhy(t *testing.T) {
	number := func(n uint64) *uint64 { return &n }
	for name, c := range map[string]struct {
		change func(x, last *question.Sample)
		kinds  []Kind
		says   string
		taken  bool
	}{
		"late":           {func(x, last *question.Sample) { x.Time = last.Time.Add(-time.Second) }, []Kind{Ignored}, "", false},
		"dated ahead":    {func(x, _ *question.Sample) { x.Time = x.Time.Add(time.Hour) }, []Kind{Ignored}, "", false},
		"far enough":     {func(x, _ *question.Sample) { x.Time = x.Received.Add(5001 * time.Millisecond) }, []Kind{Ignored}, "5 s ahead of the service's clock", false},
		"as may be":      {func(x, _ *question.Sample) { x.Time = x.Received.Add(5 * time.Second); x.Sequence = number(8) }, nil, "", true},
		"another homing": {func(x, _ *question.Sample) { x.HomingID = "old" }, []Kind{Ignored}, "old", false},
		"doubled":        {func(x, last *question.Sample) { *x = *last }, nil, "", false},
		"after a gap":    {func(x, _ *question.Sample) { x.Sequence = number(9) }, []Kind{Gap}, "", true},
		"in order":       {func(x, _ *question.Sample) { x.Sequence = number(8) }, nil, "", true},
	} {
		n := homed(t).tracked(-30, 40)
		n.m.wait(2 * time.Second)
		last := n.m.sample()
		last.Sequence = number(7)
		n.take(Observe(n.w, n.s, last))
		n.forget()
		n.m.wait(2 * time.Second)
		x := n.m.sample()
		c.change(&x, &last)
		n.take(Observe(n.w, n.s, x))
		assert.Equal(t, c.kinds, n.kinds(), "%s: %s", name, n.said())
		assert.Contains(t, n.said(), c.says, name)
		assert.Equal(t, c.taken, n.s.Sample.Time.After(last.Time), "%s: taken in", name)
		require.Equal(t, question.Known, n.state(), name)
	}
}

// As far as the limit of the rig lets the two clocks differ, a sample may be dated ahead.
func TestDatedAheadAsFarAsTheLimit(t *testing.T) {
	for by, taken := range map[time.Duration]bool{12 * time.Second: true, 12001 * time.Millisecond: false} {
		n := homed(t)
		n.w.Skew = 12 * time.Second
		n.m.wait(2 * time.Second)
		x := n.m.sample()
		x.Time = x.Received.Add(by)
		n.take(Observe(n.w, n.s, x))
		assert.Equal(t, taken, n.s.Sample.Time.Equal(x.Time), "%s: %s", by, n.said())
	}
}

// A rig that moved in a sample dated ahead may have turned since the sample came, not since its date.
func TestMovingSinceASampleDatedAhead(t *testing.T) {
	n := homed(t)
	n.m.wait(2 * time.Second)
	x := n.m.sample()
	x.Doing, x.Time = question.Moving, x.Received
	n.take(Observe(n.w, n.s, x))
	want := At(n.w, n.s, x.Received.Add(3*time.Second)).Candidates[0].Sigma
	require.Greater(t, want.A1, n.s.Pose.Candidates[0].Sigma.A1)
	ahead := *n.s.Sample
	ahead.Time = ahead.Time.Add(4 * time.Second)
	n.s.Sample = &ahead
	assert.Equal(t, want, At(n.w, n.s, x.Received.Add(3*time.Second)).Candidates[0].Sigma)
}
