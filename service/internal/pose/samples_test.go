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
