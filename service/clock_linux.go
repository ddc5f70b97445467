package main

import (
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"golang.org/x/sys/unix"

	"keepclear.example/keepclear/service/internal/question"
)

// Kernel clock states. Source: adjtimex(2): STA_UNSYNC is 0x0040, the call returns TIME_ERROR (5) while not synchronised; maxerror is
// in microseconds and stops growing at 16 s.
const (
	staUnsync = 0x0040
	timeError = 5
)

// kernelClock asks the kernel whether it holds its clock synchronised, and how well.
func kernelClock() (synced bool, boundS float64) {
	var t syscall.Timex
	state, err := syscall.Adjtimex(&t)
	if err != nil || state == timeError || t.Status&staUnsync != 0 {
		return false, 0
	}
	return true, float64(t.Maxerror) / 1e6
}

// readTogether bounds how far apart the two readings of the monotonic clock may lie between which the boot clock is read.
const readTogether = 10 * time.Millisecond

// machineSlept is how long the machine has slept since it was started: the boot clock goes on in sleep, the monotonic one, by which Go
// measures, stands still (clock_gettime(2)). It is never more than the truth; zero where the kernel does not say.
func machineSlept() time.Duration {
	var slept time.Duration
	for range 10 { // this process may be stopped between two readings: then they say too little
		before, boot, after := clockOf(unix.CLOCK_MONOTONIC), clockOf(unix.CLOCK_BOOTTIME), clockOf(unix.CLOCK_MONOTONIC)
		slept = max(slept, boot-after)
		if after-before < readTogether {
			break
		}
	}
	return slept
}

// bootIDFile says how the kernel names its start, anew at each (random(4)).
const bootIDFile = "/proc/sys/kernel/random/boot_id"

// newUptime makes what tells for how long this machine had run at an instant of this process, sleep counted; nil where the kernel does not say. No
// process outlives a start: its name is kept once it could be read, for each answer went 28 µs into it, and read again where it could not (no
// descriptor left, say).
func newUptime(file string) func(at time.Time) *question.Uptime {
	var kept atomic.Pointer[string]
	return func(at time.Time) *question.Uptime {
		id, up := kept.Load(), clockOf(unix.CLOCK_BOOTTIME)
		if id == nil {
			content, err := os.ReadFile(file)
			line := strings.TrimSpace(string(content))
			if err != nil || line == "" {
				return nil
			}
			id = &line
			kept.Store(id)
		}
		if up == 0 {
			return nil
		}
		return &question.Uptime{Boot: *id, For: up - time.Since(at)}
	}
}

// clockOf reads a clock of the kernel; zero where it has none.
func clockOf(id int32) time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(id, &t) != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
