//go:build race

package gauge

// underRace: built with the race detector.
const underRace = true
