package reach_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// creepCase is a creep from inside a margin of a scene.
type creepCase struct {
	scene            *rig.Scene
	from, by, spread rig.Axes
}

func (c creepCase) ask() reach.Creep {
	return reach.New(c.scene).Creeps(c.from, c.by, c.spread, creepSlack, reach.DefaultBudget)
}

func opens(c reach.Creep) bool  { return c.Decided && c.Closing <= creepSlack }
func closes(c reach.Creep) bool { return c.Decided && c.Closing > creepSlack }

// drawCreep draws one; ok is false where no pose of the scene was found inside a margin.
func drawCreep(r *rand.Rand) (c creepCase, ok bool) {
	c.scene = randomScene(r, randomShape)
	for i := range c.scene.Pairs {
		c.scene.Pairs[i].Required = 20
	}
	c.from, ok = inside(r, c.scene)
	c.by = rig.DegAxes(4*r.Float64()-2, 0)
	if r.IntN(2) == 0 {
		c.by = rig.DegAxes(0, c.by.A1.Deg())
	}
	c.spread = rig.DegAxes(0.3*r.Float64(), 0.3*r.Float64())
	return c, ok
}

// What follows for one creep from the answer to another: what closes does not open by more doubt, more margin, more parts or a longer way; what
// opens opens on part of its way. Nothing hangs on the order of the pairs.
func TestCreepLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 7))
	opened, closed := 0, 0
	for range 80 {
		c, ok := drawCreep(r)
		if !ok {
			continue
		}
		was := c.ask()
		more := map[string]func(*creepCase){
			"doubt": func(c *creepCase) { c.spread = c.spread.Add(rig.DegAxes(0.2, 0.2)) },
			"way":   func(c *creepCase) { c.by = c.by.Scale(1.5) },
			"margin": func(c *creepCase) {
				wider := *c.scene
				wider.Pairs = slices.Clone(wider.Pairs)
				for i := range wider.Pairs {
					wider.Pairs[i].Required += 10
				}
				c.scene = &wider
			},
		}
		less := map[string]func(*creepCase){
			"doubt": func(c *creepCase) { c.spread = c.spread.Scale(0.5) },
			"way":   func(c *creepCase) { c.by = c.by.Scale(0.4) },
			"rest": func(c *creepCase) {
				c.from, c.by = c.from.Add(c.by.Scale(0.6)), c.by.Scale(0.4)
			},
			"parts": func(c *creepCase) {
				fewer := *c.scene
				fewer.Pairs = fewer.Pairs[:len(fewer.Pairs)/2]
				c.scene = &fewer
			},
		}
		for name, change := range more {
			other := c
			if change(&other); closes(was) {
				assert.Falsef(t, opens(other.ask()), "more %s, from %v by %v", name, c.from, c.by)
			}
		}
		for name, change := range less {
			other := c
			if change(&other); opens(was) {
				assert.Falsef(t, closes(other.ask()), "less %s, from %v by %v", name, c.from, c.by)
			}
		}
		other, turned := c, *c.scene
		turned.Pairs = slices.Clone(turned.Pairs)
		slices.Reverse(turned.Pairs)
		other.scene = &turned
		is := other.ask()
		assert.False(t, opens(was) && closes(is) || closes(was) && opens(is), "in another order, from %v by %v", c.from, c.by)
		if opens(was) {
			opened++
		}
		if closes(was) {
			closed++
		}
	}
	assert.Greater(t, opened, 8)
	assert.Greater(t, closed, 8)
}
