//go:build race

package reach_test

// underRace: built with the race detector.
const underRace = true
