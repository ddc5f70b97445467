//go:build !linux

package main

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
)

// kernelClock knows nothing where the kernel is not asked: state the clock's error with serve --clock-within.
func kernelClock() (synced bool, boundS float64) { return false, 0 }

// machineSlept knows nothing where the kernel is not asked: a sleep then shows as a jump of the wall clock against the monotonic one.
func machineSlept() time.Duration { return 0 }

// bootIDFile is none.
const bootIDFile = ""

// newUptime makes what knows nothing where the kernel is not asked: what the clock was set by while the service was down is not seen then.
func newUptime(string) func(time.Time) *question.Uptime {
	return func(time.Time) *question.Uptime { return nil }
}
