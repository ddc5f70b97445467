package facts_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A better source than the pose goes by, which samples read and the file does not list, is told with every answer, and beside why the pose is
// not known; one that is no better, or was told of another revision of the file, is not.
func TestUnlistedSourceIsTold(t *testing.T) {
	const count = "samples read the motor count, which the rig file does not list among its pose_sources: nothing goes by it"
	const both = "samples read the axis encoder and the motor count, which the rig file does not list among its pose_sources: nothing goes by it"
	for name, c := range map[string]struct {
		by      rig.SourceKind
		sources []rig.SourceKind
		stale   bool
		want    string
	}{
		"a count, by belief":             {rig.UnsyncedBelief, []rig.SourceKind{rig.MotorCount}, false, count},
		"both, reckoned":                 {rig.Reckoned, []rig.SourceKind{rig.MotorCount, rig.AxisEncoder}, false, both},
		"a count, by nothing":            {"", []rig.SourceKind{rig.MotorCount}, false, count},
		"a count, by an encoder":         {rig.AxisEncoder, []rig.SourceKind{rig.MotorCount}, false, ""},
		"a count by a count":             {rig.MotorCount, []rig.SourceKind{rig.MotorCount}, false, ""},
		"none":                           {rig.UnsyncedBelief, nil, false, ""},
		"a count, of another revision":   {rig.UnsyncedBelief, []rig.SourceKind{rig.MotorCount}, true, ""},
		"an encoder that a count misses": {rig.MotorCount, []rig.SourceKind{rig.AxisEncoder}, false, "samples read the axis encoder, which the rig file does not list among its pose_sources: nothing goes by it"},
	} {
		in := standing(t, heron(t), rig.DegAxes(20, -40), rig.Axes{}, axesSlew(rig.Axes{}))
		digest := in.Rig.Digest
		if c.stale {
			digest[0]++
		}
		in.Snapshot.Rig.Unlisted = &question.Unlisted{RigDigest: digest, Sources: c.sources}
		in.Snapshot.Rig.Pose.Source, in.Snapshot.Rig.Pose.State, in.Snapshot.Rig.Pose.Because = c.by, question.Candidates, "a flip was not shown"
		newest := *in.Snapshot.Rig.Sample
		for _, k := range c.sources {
			newest.Readings = append(newest.Readings, question.Reading{Source: k})
		}
		in.Snapshot.Rig.Sample = &newest
		out := facts.Compute(in)
		want := []string{"a flip was not shown"}
		if c.want == "" {
			assert.NotContains(t, out.Notes, count, name)
		} else {
			want = append(want, c.want)
			assert.Contains(t, out.Notes, c.want, name)
		}
		assert.Equal(t, want, out.Facts["pose_state"].About, name)

		silent := newest
		silent.Readings = nil
		in.Snapshot.Rig.Sample = &silent
		assert.NotContains(t, facts.Compute(in).Notes, c.want, "%s: what no sample reads any more is no news", name)
		in.Snapshot.Rig.Sample = &newest

		in.Snapshot.Rig.Pose.State = question.Known
		assert.Empty(t, facts.Compute(in).Facts["pose_state"].About, name)
	}
}

// A state that the file does not have of a part is told with the answer: the part takes up all of them, and who sent it would not know why.
func TestUnknownStateIsTold(t *testing.T) {
	r := *heron(t)
	r.Parts = append(slices.Clone(r.Parts), rig.Part{Name: "flap", States: []rig.State{{Name: "open"}, {Name: "shut"}}})
	for state, want := range map[string]bool{"open": false, "opened": true} {
		in := standing(t, &r, rig.DegAxes(20, -40), rig.Axes{}, axesSlew(rig.Axes{}))
		x := *in.Snapshot.Rig.Sample
		x.Parts = []rig.PartState{{Part: "flap", Name: state}}
		in.Snapshot.Rig.Sample = &x
		const said = "flap opened is none of the states that the rig file has of it: the part takes up all of them"
		assert.Equal(t, want, slices.Contains(facts.Compute(in).Notes, said), state)
		const stateless = "tube has no states in the rig file: it counts as it is there, whatever samples tell of it"
		assert.NotContains(t, facts.Compute(in).Notes, stateless)
		x.Parts = append(x.Parts, rig.PartState{Part: "tube", Name: state})
		assert.Contains(t, facts.Compute(in).Notes, stateless)
		assert.NotContains(t, facts.Compute(in).Notes, "flap has no states in the rig file: it counts as it is there, whatever samples tell of it")
	}
}
