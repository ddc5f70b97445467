package slow_test

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/reach"
)

// TestShow shows one question: KEEPCLEAR_SHOW=number.
func TestShow(t *testing.T) {
	n := 0
	if _, err := fmt.Sscanf(os.Getenv("KEEPCLEAR_SHOW"), "%d", &n); err != nil {
		return
	}
	s, err := stand(n / perRig)
	require.NoError(t, err)
	q := s.draw(n)
	t.Log(s.text.String())
	b, _ := json.MarshalIndent(q, "", " ")
	t.Log(string(b))
	out := facts.Compute(facts.Input{Question: s.question(q), Snapshot: s.snapshot(q), Rig: s.rig, Limits: s.limits, Moment: moment, Cells: int(reach.DefaultBudget)})
	for _, e := range out.Ends {
		t.Logf("%v from %d intended %v shift %v %s, closest %+v", e.Axes, e.From, e.Intended, e.Shift, e.Because, e.Closest)
	}
	for _, k := range out.Facts.Names() {
		f := out.Facts[k]
		switch {
		case f.Number != nil:
			t.Log(k, *f.Number, f.About)
		case f.Missing != "":
			t.Log(k, "missing:", f.Missing)
		}
	}
	r := newResult()
	r.compare(s, n, q, s.ask(q), dense)
	r.log(t)
}
