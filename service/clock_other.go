//go:build !linux

package main

// kernelClock knows nothing where the kernel is not asked: state the clock's error with serve --clock-within.
func kernelClock() (synced bool, boundS float64) { return false, 0 }
