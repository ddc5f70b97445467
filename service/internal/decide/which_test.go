package decide_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/rig"
)

// TestWhichPermitIsTold: a permit that is not the rig's last one is told by what the record has of it: nothing, another thing of that id, another
// rig's, or one of this rig that is over.
func TestWhichPermitIsTold(t *testing.T) {
	b := newBench(t)
	b.beside = []string{"crane"}
	b.restart()
	for _, name := range []string{"heron", "crane"} {
		_, err := b.report(decide.Report{Rig: name, Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		require.NoError(t, err)
	}
	granted := func() (id string, at string) {
		p := b.allowed(rig.DegAxes(20, -40), "")
		h := b.rec.Heads()["heron"]
		return p.ID, fmt.Sprintf("heron/%d at %s UTC", h.Number, b.clock().UTC().Format("2006-01-02 15:04:05"))
	}
	crane, _, _, err := b.d.Lock("crane", "A. Person", "a cable hangs", b.clock(), request("lock-00000000002", "x"))
	require.NoError(t, err)
	cranes := b.rec.Heads()["crane"].Number
	all, _, _, err := b.d.Lock("", "A. Person", "rain", b.clock(), request("lock-00000000003", "x"))
	require.NoError(t, err)
	_, _, err = b.d.Release([]string{crane.ID, all.ID}, "A. Person", "it is dry", b.clock(), request("free-00000000002", "x"))
	require.NoError(t, err)
	old, at := granted()
	lock, _, _, err := b.d.Lock("heron", "A. Person", "a cable hangs", b.clock(), request("lock-00000000001", "x"))
	require.NoError(t, err)
	locked := b.rec.Heads()["heron"].Number
	_, _, err = b.d.Release([]string{lock.ID}, "A. Person", "it does not", b.clock(), request("free-00000000001", "x"))
	require.NoError(t, err)
	now, _ := granted()
	begun, err := b.report(decide.Report{Begin: now, Sample: b.sample(zero)})
	require.NoError(t, err)
	require.NotEmpty(t, begun.Notices)
	for _, n := range begun.Notices {
		assert.NotContains(t, n.Sentence, "is not the rig's last one", "of the last one nothing is said")
	}
	for _, c := range []struct{ rig, id, says string }{
		{"heron", "made-up-0001", "permit made-up-0001 is not the rig's last one (none of that id was ever given, by what is on record)"},
		{"heron", old, "permit " + old + " is not the rig's last one (it was given in " + at + ", and is over)"},
		{"crane", old, "permit " + old + " is not the rig's last one (it was given for another rig: " + at + ")"},
		{"heron", lock.ID, fmt.Sprintf("permit %s is not the rig's last one (what has that id is no permit: heron/%d at ", lock.ID, locked)},
		{"crane", crane.ID, fmt.Sprintf("permit %s is not the rig's last one (what has that id is no permit: crane/%d at ", crane.ID, cranes)},
		{"heron", all.ID, fmt.Sprintf("permit %s is not the rig's last one (what has that id is no permit: service/1 at ", all.ID)},
	} {
		for how, r := range map[string]decide.Report{"begin": {Begin: c.id, Sample: b.sample(zero)}, "end": {End: &decide.EndReport{Permit: c.id, How: pose.Done}}} {
			r.Rig = c.rig
			out, err := b.report(r)
			require.NoError(t, err)
			last := out.Notices[len(out.Notices)-1]
			assert.Equal(t, pose.EventMismatch, last.Kind, "%s %s", how, c.id)
			assert.Contains(t, last.Sentence, c.says, "%s %s", how, c.id)
			assert.Contains(t, last.Sentence, map[string]string{"begin": "): ask again", "end": "); its end is noted and changes nothing"}[how])
		}
	}
}
