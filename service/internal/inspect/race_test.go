//go:build race

package inspect_test

// underRace: built with the race detector, under which a map takes ten times as long.
const underRace = true
