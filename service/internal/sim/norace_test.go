//go:build !race

package sim_test

// raced tells that this is the race run, where a night takes ten times as long.
const raced = false
