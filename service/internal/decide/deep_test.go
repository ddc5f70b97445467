package decide

import (
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func breaks() { panic("broken") }

// TestDeepStackEndsAsItsFunctionDoes: it returns once that has, panics with what that did, told with the place, and ends the goroutine where that did: nothing
// goes on as if there were an answer.
func TestDeepStackEndsAsItsFunctionDoes(t *testing.T) {
	ran := false
	onDeepStack(func() { ran = true })
	require.True(t, ran)

	var got any
	func() {
		defer func() { got = recover() }()
		onDeepStack(breaks)
	}()
	require.IsType(t, Panicked{}, got)
	assert.Equal(t, "broken", got.(Panicked).String())
	assert.Contains(t, string(got.(Panicked).Stack), "decide.breaks")

	ended := make(chan bool, 1)
	wentOn := false
	go func() {
		defer func() { ended <- recover() == nil }()
		onDeepStack(runtime.Goexit)
		wentOn = true
	}()
	require.True(t, <-ended)
	assert.False(t, wentOn)
}
