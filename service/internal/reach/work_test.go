package reach_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
)

// TestWorkStaysSmall counts the cells that 300 questions take, by each way of asking. Bounds that say less than they could are as true; here they
// show, as work. What is proven beforehand is worth its while. (The same everywhere but for the rounding of processors, for which a
// two-hundredth is left.)
func TestWorkStaysSmall(t *testing.T) {
	const budget = 2000
	seeds, got := 300, map[string]int{}
	if underRace {
		seeds = 30
	}
	for seed := range uint64(seeds) {
		r := rand.New(rand.NewPCG(seed, 63))
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		fuller := *s
		p, own, other := reach.New(s), reach.WithGrid(s, s), reach.WithGrid(s, &fuller)
		got["proven"] += p.Prove(j.way, spread, budget).Cells
		got["proven with its grid"] += own.Prove(j.way, spread, budget).Cells
		got["proven with the grid of a fuller one"] += other.Prove(j.way, spread, budget).Cells
		_, cells := own.Passes(j.way, spread, budget)
		got["passed or not"] += cells
		got["kept"] += p.Keeps(j.way, spread, 15, budget).Cells
		got["kept with its grid"] += own.Keeps(j.way, spread, 15, budget).Cells
		got["kept roughly"] += own.KeepsRoughly(j.way, spread, budget).Cells
		got["without contact"] += own.Touches(j.way, spread, budget).Cells
	}
	t.Log(got)
	for what, most := range map[string]int{
		"proven": 5376, "proven with its grid": 2602, "proven with the grid of a fuller one": 2611, "passed or not": 1469,
		"kept": 8748, "kept with its grid": 8911, "kept roughly": 7123, "without contact": 1824,
	} {
		assert.LessOrEqual(t, got[what], most+most/200, "cells: %s", what)
	}
}
