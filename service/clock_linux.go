package main

import (
	"os"
	"strings"
	"sync"
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

// bootID is how the kernel names its start, anew at each (random(4)); empty where it does not. No process outlives a start: asked once, for each
// answer went 28 µs into it.
var bootID = sync.OnceValue(func() string {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(id))
})

// machineUp is for how long this machine had run at an instant of this process, sleep counted; nil where the kernel does not say.
func machineUp(at time.Time) *question.Uptime {
	id, up := bootID(), clockOf(unix.CLOCK_BOOTTIME)
	if id == "" || up == 0 {
		return nil
	}
	return &question.Uptime{Boot: id, For: up - time.Since(at)}
}

// clockOf reads a clock of the kernel; zero where it has none.
func clockOf(id int32) time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(id, &t) != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
