package pose

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// unlisted are what the notices of sources that the file does not list are about.
func (n *night) unlisted() (about []string) {
	for _, x := range n.notes {
		if x.Kind == Unlisted {
			about = append(about, x.About...)
		}
	}
	return about
}

// A sample that reads a count and an encoder which the file does not list is told of once each, however many samples follow and over a restart,
// which folds the state from its text; another revision of the file is told anew, and one that lists the count is not.
func TestSourceThatTheFileDoesNotListIsToldOnce(t *testing.T) {
	n := homed(t)
	before := n.s
	reads := *n.m.r
	n.m.r = &reads
	withCount(n.m.r)
	n.m.wait(2 * time.Second)
	n.look()
	assert.Equal(t, []string{"motor count"}, n.unlisted(), n.said())
	assert.Nil(t, before.Unlisted, "nothing is written in place")
	withEncoder(n.m.r)
	for range 3 {
		n.m.wait(2 * time.Second)
		n.look()
	}
	assert.Equal(t, []string{"motor count", "axis encoder"}, n.unlisted(), n.said())
	assert.Equal(t, rig.UnsyncedBelief, n.s.Pose.Source, "nothing goes by them")

	text, err := json.Marshal(n.s)
	require.NoError(t, err)
	n.s = question.RigState{}
	require.NoError(t, json.Unmarshal(text, &n.s))
	n.forget()
	n.m.wait(2 * time.Second)
	n.look()
	assert.Empty(t, n.unlisted(), n.said())

	other := *n.w.Rig
	other.Digest[0]++
	withCount(&other)
	n.w.Rig = &other
	n.m.wait(2 * time.Second)
	n.look()
	assert.Equal(t, []string{"axis encoder"}, n.unlisted(), "the count is listed now")
	assert.Equal(t, []rig.SourceKind{rig.AxisEncoder}, n.s.Unlisted.Of(other.Digest))
	assert.Empty(t, n.s.Unlisted.Of(reads.Digest), "of a revision that is not in force")
}

// A balance that was made anew changes nothing that is held, and that is said: silence would look like a report that was lost.
func TestActThatChangesNothingSaysSo(t *testing.T) {
	n := homed(t)
	before := n.s
	n.take(Acted(n.w, n.s, Act{Kind: Rebalanced, Person: "A. Person"}, nil))
	require.Len(t, n.notes, 1)
	assert.Equal(t, "re-balanced (A. Person); nothing that is held here goes by the balance, so nothing changes but the epoch", n.notes[0].Sentence)
	assert.Equal(t, before.Epoch+1, n.s.Epoch)
	before.Epoch = n.s.Epoch
	assert.Equal(t, before, n.s)
}
