package decide_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A report that names a part which the file has not is refused, and nothing of it is taken in; one that was taken in gets its reply again, whatever the file
// says by now.
func TestAReportOfAPartThatIsNotThere(t *testing.T) {
	b := newBench(t)
	b.home()
	b.wait(time.Second)
	at := b.rec.Head("heron").Number
	told := func(id, part string) error {
		t.Helper()
		x := b.sample(b.rig.Home)
		x.Parts = []rig.PartState{{Part: part}}
		_, err := b.d.Report(t.Context(), decide.Report{Rig: "heron", Asker: "test", Sample: x, At: b.clock(), Limit: &question.MountLimit{Axis: 1}}, request(id, id))
		return err
	}
	first := b.rig.Parts[0].Name
	require.ErrorIs(t, told("report-of-parts-01", "kite"), decide.ErrConflict)
	assert.Equal(t, at, b.rec.Head("heron").Number)
	require.NoError(t, told("report-of-parts-02", first))
	b.alter = func(r *rig.Rig) {
		r.Parts = slices.Clone(r.Parts)
		r.Parts[0].Name = "otherwise"
	}
	b.restart()
	require.NoError(t, told("report-of-parts-02", first), "again")
	require.ErrorIs(t, told("report-of-parts-03", first), decide.ErrConflict)
}
