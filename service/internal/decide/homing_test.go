package decide

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
)

// What a person sees is as sure as the file has it where nothing else homes the rig; where a sensor does, the file speaks of that. What is stated
// beside the homing counts in any case.
func TestHowSureAHomingIs(t *testing.T) {
	stated := rig.DegAxes(0.1, 0.2)
	for name, c := range map[string]struct {
		by     rig.HomingKind
		sensed bool
		stated *rig.Axes
		want   rig.Axes
	}{
		"seen, by marks":             {rig.ByPerson, false, nil, rig.DegAxes(2, 1.5)},
		"seen, by belief":            {rig.ByBelief, false, nil, rig.DegAxes(2, 1.5)},
		"seen, where a sensor homes": {rig.BySensor, false, nil, rig.DegAxes(1, 1)},
		"sensed":                     {rig.BySensor, true, nil, rig.DegAxes(2, 1.5)},
		"stated":                     {rig.ByPerson, false, &stated, stated},
	} {
		r := &rig.Rig{Homing: rig.Homing{By: c.by, Sigma: rig.DegAxes(2, 1.5)}}
		got := (&HomedReport{Sensed: c.sensed, Person: "A. Person", Sigma: c.stated}).homing(r, "h1", time.Time{})
		assert.Equal(t, c.want, got.Sigma, name)
		assert.Equal(t, c.stated != nil, got.SigmaTold, name)
	}
}

// What the record has of a permit that is not the rig's last one is looked up before the turn, in which only what was found is said. Where the
// record cannot be asked nothing is said: neither that none was given nor that one is over.
func TestWhatIsSaidOfAPermit(t *testing.T) {
	rec, err := record.Open(filepath.Join(t.TempDir(), "record.keepclear"), record.Options{State: func(string, record.Head) []byte { return nil }, After: time.After})
	require.NoError(t, err)
	d, g := &Decider{parts: Parts{Record: rec}}, &group{live: question.RigState{Permit: &question.Permit{ID: "id-0002", State: question.Ended}}}
	g.setOpen()
	g.turn.Lock() // somebody else's
	assert.Contains(t, d.tells(g, "id-0001"), "none of that id")
	assert.Empty(t, d.tells(g, "id-0002"), "the last one, open or not")
	assert.Empty(t, d.tells(g, ""))
	g.live.Permit = nil
	g.setOpen()
	assert.Contains(t, d.tells(g, "id-0002"), "none of that id")
	require.NoError(t, rec.Close())
	assert.Empty(t, d.tells(g, "id-0001"))
}
