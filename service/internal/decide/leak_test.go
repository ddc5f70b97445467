package decide_test

import (
	"testing"

	"go.uber.org/goleak"
)

// Fault 44: nothing that a decider began outlives its tests.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
