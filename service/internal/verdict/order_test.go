package verdict

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ids are the rules of findings, in their order.
func ids(findings []Finding) []string {
	var out []string
	for _, f := range findings {
		out = append(out, f.Rule)
	}
	return out
}

// TestAStrangersPassIsNoAnswer: as many findings as rules, but one of them is no rule's.
func TestAStrangersPassIsNoAnswer(t *testing.T) {
	findings := []Finding{{Rule: "a", Effect: Passes}, {Rule: "z", Effect: Passes}}
	assert.Equal(t, Hold, Combine(findings, []string{"a", "b"}, []string{"a"}))
}

func TestPassesStandBeforeNotApplicable(t *testing.T) {
	f := []Finding{{Rule: "a", Effect: NotApplicable}, {Rule: "b", Effect: Passes}}
	Sort(f)
	assert.Equal(t, []string{"b", "a"}, ids(f))
}

// TestCausesAreOfObjectionsOnly: among passes nothing causes anything, and the first cause is one as well.
func TestCausesAreOfObjectionsOnly(t *testing.T) {
	f := []Finding{{Rule: "time/agree", Effect: Holds}, {Rule: "lock/none", Effect: Holds}, {Rule: "asker/fallback", Effect: Holds}}
	Sort(f)
	assert.Equal(t, []string{"lock/none", "time/agree", "asker/fallback"}, ids(f))
	f = []Finding{{Rule: "time/agree", Effect: Passes}, {Rule: "asker/fallback", Effect: Passes}, {Rule: "lock/none", Effect: Passes}}
	Sort(f)
	assert.Equal(t, []string{"asker/fallback", "lock/none", "time/agree"}, ids(f))
}

// TestAMotionBeyondTravelIsNoLongTrack: that a track is too long is said first where nothing else is in the way, and last where a motion leaves travel.
func TestAMotionBeyondTravelIsNoLongTrack(t *testing.T) {
	f := []Finding{{Rule: "track/fits", Effect: Denies}, {Rule: "travel/axis2", Effect: Denies}, {Rule: "asker/fallback", Effect: Holds}, {Rule: "sun/apart", Effect: Denies}}
	g, ok := Gravest(f[:3])
	require.True(t, ok)
	assert.Equal(t, "travel/axis2", g.Rule)
	Sort(f)
	assert.Equal(t, []string{"sun/apart", "travel/axis2", "track/fits", "asker/fallback"}, ids(f))
}

// TestGravestIsTheFirstBySort where a rule answered twice.
func TestGravestIsTheFirstBySort(t *testing.T) {
	f := []Finding{{Rule: "a", Effect: Holds, Code: "one"}, {Rule: "a", Effect: Holds, Code: "two"}}
	g, ok := Gravest(f)
	require.True(t, ok)
	Sort(f)
	assert.Equal(t, f[0], g)
	assert.Equal(t, "one", g.Code)
}
