package pose_test

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
)

// evening is when these states were.
var evening = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// stays are the instants that a step of the clock leaves as they are, each with its why.
func stays() map[string]string {
	return map[string]string{
		"Homing.At":                      "for people: nothing is counted from it",
		"Proof.At":                       "it is counted in days",
		"Limits[0].Seen":                 "for people, and to tell the later of two",
		"Permit.Action.Until":            "what was asked for, as it came",
		"Permit.Closest.Instant":         "what was found then",
		"Permit.Legs[0].Closest.Instant": "what was found then",
		"Leave.Action.Until":             "what was asked for, as it came",
	}
}

// instants are all instants of a value by path.
func instants(v reflect.Value, path string, out map[string]time.Time) {
	switch {
	case v.Type() == reflect.TypeFor[time.Time]():
		out[path] = v.Interface().(time.Time)
	case v.Kind() == reflect.Pointer && !v.IsNil():
		instants(v.Elem(), path, out)
	case v.Kind() == reflect.Slice:
		for i := range v.Len() {
			instants(v.Index(i), fmt.Sprintf("%s[%d]", path, i), out)
		}
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			name := v.Type().Field(i).Name
			if path != "" {
				name = path + "." + name
			}
			instants(v.Field(i), name, out)
		}
	}
}

// filled is a state with every instant set: those of the asker without a monotonic reading, those of the service with one.
func filled(told, ours time.Time) question.RigState {
	x := &question.Sample{Time: told, Received: ours, Read: ours, Doing: question.AtRest}
	act := question.Action{Kind: question.Track, Until: &told}
	near := &question.Clearance{Instant: &ours}
	return question.RigState{
		Pose: question.Pose{State: question.Unknown, At: told}, Sample: x, Still: x, Anchor: x, Recent: []question.SampleMark{{Time: told}}, SiteAt: told,
		Homing: &question.Homing{At: ours}, Steps: []question.Step{{At: told}}, Syncs: []question.SyncDone{{At: told}},
		Solves: []question.JudgedSolve{{At: ours, Mid: told}}, Before: []question.JudgedSolve{{At: ours, Mid: told}}, Proof: &question.Proof{At: ours}, Limits: []question.MountLimit{{Seen: ours}},
		Permit: &question.Permit{
			State: question.Begun, Action: act, Asked: ours, StartBy: ours.Add(time.Hour), StopBy: ours.Add(time.Hour), FirstContact: &ours, BegunAt: &ours, Arrived: &ours,
			Closest: near, Legs: []question.Leg{{Closest: *near}},
		},
		Leave: &question.SyncLeave{Live: true, Action: act, Asked: ours, UseBy: ours.Add(time.Hour)},
	}
}

// Fault 11: after a step back everything held keeps its age. Every instant of the state moves, or is listed with why it does not.
func TestStepBackMovesEveryInstant(t *testing.T) {
	told := evening
	ours := faults.NewClock(time.Now(), evening.Add(time.Second)).Now()
	before := filled(told, ours)
	was, now := map[string]time.Time{}, map[string]time.Time{}
	instants(reflect.ValueOf(before), "", was)
	after, notices := pose.Lapse(before, faults.SetWall(ours.Add(time.Minute), -time.Hour))
	assert.Empty(t, notices)
	instants(reflect.ValueOf(after), "", now)
	var stayed []string
	for path, at := range was {
		switch by := now[path].Round(0).Sub(at.Round(0)); by {
		case -time.Hour:
			if at != at.Round(0) {
				assert.Zero(t, now[path].Sub(at), "%s: its monotonic reading stays", path)
			}
		case 0:
			stayed = append(stayed, path)
			assert.NotEmpty(t, stays()[path], "%s stays: move it, or say why not", path)
		default:
			assert.Fail(t, "moved by something else", "%s: %s", path, by)
		}
	}
	for path := range stays() {
		assert.Contains(t, stayed, path, "it moves: take it off the list")
	}
	assert.Same(t, after.Sample, after.Still, "one sample stays one")
	again := map[string]time.Time{}
	instants(reflect.ValueOf(before), "", again)
	assert.Equal(t, was, again, "the state that came is as it was")
	assert.False(t, after.Skipped)
}

// A step forward may be a machine that slept, and a small one is none.
func TestOtherStepsMoveNothing(t *testing.T) {
	ours := faults.NewClock(time.Now(), evening.Add(time.Second)).Now()
	for _, c := range []struct {
		by      time.Duration
		skipped bool
		over    []string // what time ends
	}{
		{24 * time.Hour, true, []string{"leave"}},
		{time.Second, false, nil},
		{-time.Second, false, nil},
		{0, false, nil},
	} {
		before := filled(evening, ours)
		after, notices := pose.Lapse(before, faults.SetWall(ours.Add(time.Minute), c.by))
		assert.Empty(t, notices, "%s: a begun permit lives by the monotonic clock", c.by)
		assert.Equal(t, c.skipped, after.Skipped, c.by)
		assert.Equal(t, !slices.Contains(c.over, "leave"), after.Leave.Live, c.by)
		was, now := map[string]time.Time{}, map[string]time.Time{}
		instants(reflect.ValueOf(before), "", was)
		instants(reflect.ValueOf(after), "", now)
		assert.Equal(t, was, now, c.by)
	}
}

// A permit that waits and a sync leave are over when their time is, whatever the wall clock was set back to.
func TestWaitingLeaveEndsAfterAStepBack(t *testing.T) {
	ours := faults.NewClock(time.Now(), evening.Add(time.Second)).Now()
	for _, c := range []struct {
		wait time.Duration
		live bool
	}{{59 * time.Minute, true}, {61 * time.Minute, false}} {
		before := filled(evening, ours)
		before.Permit.State = question.Granted
		after, _ := pose.Lapse(before, faults.SetWall(ours.Add(c.wait), -time.Hour))
		assert.Equal(t, c.live, after.Leave.Live, "%s", c.wait)
		assert.Equal(t, c.live, after.Permit.Open(), "%s", c.wait)
		if !c.live {
			assert.Contains(t, after.Leave.Because, "not used by 2026-11-14 18:00:01", "as the clock reads now")
			assert.Contains(t, after.Permit.Because, "not begun by 2026-11-14 18:00:01", "as the clock reads now")
		}
	}
}

// Over a restart there is no monotonic reading of before, and a step forward cannot be told from the time that passed: instants stay as the
// record has them. One back is seen where the last sample is of after now: it is then older than any that a motion may begin on, and all that
// is held keeps its place before it.
func TestOverARestartOnlyAStepBackIsSeen(t *testing.T) {
	ours := evening.Add(time.Second)
	for _, by := range []time.Duration{time.Hour, 0, -59 * time.Second, -61 * time.Second} {
		before := filled(evening, ours)
		after, _ := pose.Lapse(before, faults.SetWall(faults.NewClock(time.Now(), evening.Add(time.Minute)).Now(), by))
		assert.Equal(t, before.Sample.Time, after.Sample.Time, by)
		assert.False(t, after.Skipped, by)
	}
	for _, by := range []time.Duration{-63 * time.Second, -time.Hour, -365 * 24 * time.Hour} {
		before := filled(evening, ours)
		now := faults.SetWall(faults.NewClock(time.Now(), evening.Add(time.Minute)).Now(), by)
		after, _ := pose.Lapse(before, now)
		assert.Equal(t, 2*time.Minute, now.Round(0).Sub(after.Sample.Received), by)
		assert.Equal(t, before.Solves[0].Mid.Sub(before.Sample.Received), after.Solves[0].Mid.Sub(after.Sample.Received), by)
		assert.True(t, after.Skipped, by)
	}
}
