package decide

import (
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

var asked = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// fitted is the practice rig, changed.
func fitted(t *testing.T, change func(*rig.Rig)) *rig.Rig {
	t.Helper()
	content, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(t, err)
	r, bad := rig.Parse("heron.yaml", content, nil)
	require.NotNil(t, r, "%v", bad)
	if change != nil {
		change(r)
	}
	return r
}

// paths are the fields that a question is refused for.
func paths(t *testing.T, r *rig.Rig, a question.Action, s *question.Sample) []string {
	t.Helper()
	err := fits(r, question.Question{Action: a, Sample: s, At: asked})
	told := reportFits(r, s)
	if err == nil {
		require.NoError(t, told, "what a question may bear a report may")
		return nil
	}
	require.Equal(t, strings.Contains(err.Error(), "sample."), told != nil, "what of a sample is refused of a question is refused of a report")
	var conflict *ConflictError
	require.ErrorAs(t, err, &conflict)
	require.ErrorIs(t, err, ErrConflict)
	var out []string
	for _, f := range conflict.Faults {
		out = append(out, f.Path)
		assert.Contains(t, err.Error(), f.Path+": want "+f.Wanted+", got "+f.Got)
		assert.NotEmpty(t, f.Remedy)
	}
	return out
}

func TestSidesOfTheMount(t *testing.T) {
	r := fitted(t, nil)
	for _, s := range []rig.Side{"", rig.East, rig.West} {
		assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew, Side: s}, &question.Sample{Belief: &question.Belief{Side: s}}), "%q", s)
	}
	sample := &question.Sample{Belief: &question.Belief{Side: rig.Second}}
	assert.Equal(t, []string{"action.slew.side", "sample.belief.side"}, paths(t, r, question.Action{Kind: question.Slew, Side: rig.First}, sample))
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew}, &question.Sample{}), "no belief")
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew}, nil), "no sample")
}

func TestPartsOfTheRig(t *testing.T) {
	r := fitted(t, nil)
	s := &question.Sample{Parts: []rig.PartState{{Part: r.Parts[0].Name}, {Part: "kite"}, {Part: r.Parts[1].Name}}}
	assert.Equal(t, []string{"sample.parts[1].part"}, paths(t, r, question.Action{Kind: question.Slew}, s))
	s.Parts[1].Part = r.Parts[2].Name
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew}, s))
}

// A named state that the part does not have is refused like a part that the rig does not have; a measure beyond what the file has is not.
func TestStatesOfParts(t *testing.T) {
	r := fitted(t, func(r *rig.Rig) {
		r.Parts = append(slices.Clone(r.Parts), rig.Part{Name: "flap", States: []rig.State{{Name: "open"}, {Name: "shut"}}},
			rig.Part{Name: "focuser", States: []rig.State{{Measured: "mm", Low: 0, High: 50}}})
	})
	for state, want := range map[string][]string{"open": nil, "shut": nil, "opened": {"sample.parts[0].name"}} {
		s := &question.Sample{Parts: []rig.PartState{{Part: "flap", Name: state}}}
		assert.Equal(t, want, paths(t, r, question.Action{Kind: question.Slew}, s), state)
	}
	far := 51.0
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew}, &question.Sample{Parts: []rig.PartState{{Part: "focuser", Measure: &far, Unit: "mm"}}}))
	assert.Equal(t, []string{"sample.parts[0].name"}, paths(t, r, question.Action{Kind: question.Slew}, &question.Sample{Parts: []rig.PartState{{Part: "focuser", Name: "far"}}}))
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew}, &question.Sample{Parts: []rig.PartState{{Part: r.Parts[0].Name, Name: "there"}}}), "a part that has none")
}

// The sample in the middle of an exposure is held to the rig as the question's own is: what does not fit would count as not told, where its sender believes it does.
func TestSampleOfTheExposureFits(t *testing.T) {
	r := fitted(t, nil)
	mid := func(s *question.Sample) question.Action {
		return question.Action{Kind: question.Sync, Solve: &question.Solve{Start: asked.Add(-time.Minute), Exposure: 4 * time.Second, Mid: s}}
	}
	odd := &question.Sample{Time: asked.Add(-58 * time.Second), Belief: &question.Belief{Side: rig.Second}, Parts: []rig.PartState{{Part: r.Parts[0].Name}, {Part: "kite"}}}
	assert.Equal(t, []string{"action.sync.solve.mid_exposure.belief.side", "action.sync.solve.mid_exposure.parts[1].part"}, paths(t, r, mid(odd), nil))
	odd.Belief.Side, odd.Parts = rig.East, odd.Parts[:1]
	assert.Empty(t, paths(t, r, mid(odd), nil))
	assert.Empty(t, paths(t, r, mid(nil), nil))
}

func TestFlipsAreOfGermanMounts(t *testing.T) {
	assert.Empty(t, paths(t, fitted(t, nil), question.Action{Kind: question.Flip}, nil))
	fork := fitted(t, func(r *rig.Rig) { r.Kind = rig.Fork })
	assert.Equal(t, []string{"action.flip"}, paths(t, fork, question.Action{Kind: question.Flip}, nil))
	assert.Empty(t, paths(t, fork, question.Action{Kind: question.Slew}, nil), "a slew of a fork is none")
}

// TestEndOfATrack: later than now, and at most a day ahead, to the last nanosecond.
func TestEndOfATrack(t *testing.T) {
	r := fitted(t, nil)
	for ahead, ok := range map[time.Duration]bool{
		-time.Second: false, 0: false, 1: true, time.Hour: true, 24 * time.Hour: true, 24*time.Hour + 1: false, 48 * time.Hour: false,
	} {
		until := asked.Add(ahead)
		got := paths(t, r, question.Action{Kind: question.Track, Until: &until}, nil)
		if ok {
			assert.Empty(t, got, "%v ahead", ahead)
		} else {
			assert.Equal(t, []string{"action.track.until_time"}, got, "%v ahead", ahead)
		}
	}
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Track, Follow: time.Hour}, nil))
}

func TestPlacesOfRest(t *testing.T) {
	r := fitted(t, func(r *rig.Rig) { r.Rests = []rig.Rest{{Name: "low"}, {Name: "high"}} })
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Park, Place: "low"}, nil))
	assert.Equal(t, []string{"action.park.place"}, paths(t, r, question.Action{Kind: question.Park, Place: "middle"}, nil))
	assert.Empty(t, paths(t, r, question.Action{Kind: question.Slew, Place: "middle"}, nil), "a place counts in a park alone")
	err := fits(r, question.Question{Action: question.Action{Kind: question.Park, Place: "middle"}, At: asked})
	assert.ErrorContains(t, err, `want one of "low", "high", got "middle"`)
	r.Rests = nil
	err = fits(r, question.Question{Action: question.Action{Kind: question.Park}, At: asked})
	assert.ErrorContains(t, err, "got none there")
}

// TestOpticsOfTheSolve: those of the file; none named is the only ones there are.
func TestOpticsOfTheSolve(t *testing.T) {
	one := fitted(t, nil)
	require.Len(t, one.Optics, 1)
	two := fitted(t, func(r *rig.Rig) {
		guide := r.Optics[0]
		guide.Name = "guide"
		r.Optics = append(r.Optics, guide)
	})
	sync := func(optics string) question.Action {
		return question.Action{Kind: question.Sync, Solve: &question.Solve{Optics: optics}}
	}
	wrong := []string{"action.sync.solve.optics"}
	assert.Empty(t, paths(t, one, sync(""), nil))
	assert.Empty(t, paths(t, one, sync("main"), nil))
	assert.Equal(t, wrong, paths(t, one, sync("finder"), nil))
	assert.Equal(t, wrong, paths(t, two, sync(""), nil), "which of the two?")
	assert.Empty(t, paths(t, two, sync("guide"), nil))
	err := fits(two, question.Question{Action: sync("finder"), At: asked})
	assert.ErrorContains(t, err, `want one of main, guide, got "finder"`)
	none := fitted(t, func(r *rig.Rig) { r.Optics = nil })
	assert.Empty(t, paths(t, none, sync(""), nil), "a file that lists none is asked for none")
}

// TestMiddleOfTheExposure: ten minutes ahead are a clock's, more is a contradiction of two fields.
func TestMiddleOfTheExposure(t *testing.T) {
	r := fitted(t, nil)
	sync := func(start time.Duration) question.Action {
		return question.Action{Kind: question.Sync, Solve: &question.Solve{Start: asked.Add(start - 2*time.Second), Exposure: 4 * time.Second}}
	}
	both := []string{"action.sync.solve.exposure_start_time", "action.sync.solve.exposure_duration"}
	assert.Empty(t, paths(t, r, sync(-time.Hour), nil))
	assert.Empty(t, paths(t, r, sync(10*time.Minute), nil))
	assert.Equal(t, both, paths(t, r, sync(10*time.Minute+1), nil))
	undated := sync(time.Hour)
	undated.Solve.Exposure = 0
	assert.Empty(t, paths(t, r, undated, nil), "no length, no middle")
}

// TestInstantsByTheClockOfTheAsker: with this machine's clock set an hour back, or a day ahead, an honest asker names no instant that cannot be:
// the question is held for the clocks. What contradicts the asker's own clock is a contradiction whatever ours reads, and where the two are no
// further apart than time/agree may let pass, ours counts.
func TestInstantsByTheClockOfTheAsker(t *testing.T) {
	r := fitted(t, nil)
	picture := func(before time.Time) question.Action {
		return question.Action{Kind: question.Sync, Solve: &question.Solve{Start: before.Add(-9 * time.Second), Exposure: 4 * time.Second}}
	}
	until := func(end time.Time) question.Action { return question.Action{Kind: question.Track, Until: &end} }
	for _, ahead := range []time.Duration{time.Hour, -24 * time.Hour, -365 * 24 * time.Hour} {
		theirs := asked.Add(ahead)
		for name, q := range map[string]question.Question{
			"by its sending time": {At: asked, Sent: theirs},
			"by its sample":       {At: asked, Sample: &question.Sample{Time: theirs}},
		} {
			for what, c := range map[string]struct {
				act question.Action
				ok  bool
			}{
				"a picture of now":            {picture(theirs), true},
				"a picture of after now":      {picture(theirs.Add(time.Hour)), false},
				"track for two hours":         {until(theirs.Add(2 * time.Hour)), true},
				"track until two hours ago":   {until(theirs.Add(-2 * time.Hour)), false},
				"track for more than one day": {until(theirs.Add(25 * time.Hour)), false},
			} {
				q.Action = c.act
				assert.Equal(t, c.ok, fits(r, q) == nil, "%s, %s, the asker's clock %s ahead: %v", what, name, ahead, fits(r, q))
			}
		}
	}
	for _, near := range []time.Duration{30 * time.Second, -30 * time.Second} {
		q := question.Question{At: asked, Sent: asked.Add(near), Action: until(asked.Add(-time.Second))}
		assert.Error(t, fits(r, q), "clocks %s apart may be let pass: ours counts", near)
	}
}

// TestSampleWithinTheExposure, give or take a minute.
func TestSampleWithinTheExposure(t *testing.T) {
	r := fitted(t, nil)
	start := asked.Add(-time.Hour)
	sync := func(mid, start time.Time) question.Action {
		return question.Action{Kind: question.Sync, Solve: &question.Solve{Start: start, Exposure: 4 * time.Second, Mid: &question.Sample{Time: mid}}}
	}
	for after, ok := range map[time.Duration]bool{
		-time.Minute - 1: false, -time.Minute: true, 0: true, 2 * time.Second: true, time.Minute + 4*time.Second: true, time.Minute + 4*time.Second + 1: false,
	} {
		got := paths(t, r, sync(start.Add(after), start), nil)
		if ok {
			assert.Empty(t, got, "%v after the start", after)
		} else {
			assert.Equal(t, []string{"action.sync.solve.mid_exposure.time"}, got, "%v after the start", after)
		}
	}
	assert.Empty(t, paths(t, r, sync(time.Time{}, start), nil), "a sample without a time")
	assert.Empty(t, paths(t, r, sync(start, time.Time{}), nil), "a picture without a time")
}

func TestConflictsAreAllNamed(t *testing.T) {
	err := error(&ConflictError{Faults: []FieldFault{{"a", "b", "c", "d"}, {"e", "f", "g", "h"}}})
	assert.EqualError(t, err, "contradiction in the request; a: want b, got c; e: want f, got g")
	assert.True(t, errors.Is(err, ErrConflict))
	assert.Equal(t, "", orNothing(""))
	assert.Equal(t, "; it looks odd", orNothing("looks odd"))
}
