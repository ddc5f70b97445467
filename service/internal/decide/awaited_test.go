package decide_test

import (
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stackWith is the goroutine that is in a function: its state, and what called what; empty where there is none.
func stackWith(function string) string {
	all := make([]byte, 4<<20)
	for one := range strings.SplitSeq(string(all[:runtime.Stack(all, true)]), "\n\n") {
		if strings.Contains(one, function+"(") {
			return one
		}
	}
	return ""
}

// idle tells whether the record's flusher waits to be woken.
func idle() bool { return strings.Contains(stackWith("record.(*Record).next"), "[select") }

// TestAskersFlushForThemselves: what is asked or reported while nobody flushes goes to disk on the goroutine that waits for it, and the flusher is not
// woken, without the two changes of goroutine that handing it over takes.
func TestAskersFlushForThemselves(t *testing.T) {
	b := newBench(t)
	for _, does := range []struct {
		what, on string
		do       func()
	}{
		{"a report", "decide.(*Decider).Report(", b.home},
		{"a question", "decide.(*Decider).Ask(", func() {
			_, err := b.slew(zero, there)
			assert.NoError(t, err)
		}},
	} {
		require.Eventually(t, idle, 10*time.Second, time.Millisecond)
		held, release := b.disk.Hold()
		var done sync.WaitGroup
		done.Go(does.do)
		<-held
		assert.Contains(t, stackWith("store.(*Store).Commit"), does.on, does.what)
		assert.True(t, idle(), does.what)
		release()
		done.Wait()
	}
}
