//go:build race

package rules

// underRace: built with the race detector.
const underRace = true
