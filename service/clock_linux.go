package main

import "syscall"

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
