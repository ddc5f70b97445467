package rules

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
)

// TestUnjudgedEquipment: what a rig has, by lacking it not, and no rule judges.
func TestUnjudgedEquipment(t *testing.T) {
	assert.Equal(t, []string{"drag", "neighbours", "roof"}, Unjudged(dirFS(), nil))
	assert.Equal(t, []string{"neighbours"}, Unjudged(dirFS(), []string{"roof", "drag"}))
	assert.Empty(t, Unjudged(dirFS(), []string{"roof", "drag", "neighbours"}))
	files := copied(t)
	files["rules/roof/state/state.rego"] = &fstest.MapFile{Data: []byte("package rules.roof.state\n")}
	assert.Equal(t, []string{"drag", "neighbours"}, Unjudged(files, nil), "the roof is judged")
	assert.Empty(t, Unjudged(files, []string{"drag", "neighbours"}))
}
