package decide_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/verdict"
)

// steps are those of fault 11.
func steps() map[string]time.Duration {
	return map[string]time.Duration{"an hour back": -time.Hour, "a day forward": 24 * time.Hour}
}

// entering tells of the rules as they are entered.
type entering struct {
	real  decide.Judge
	enter func(string)
}

func (e entering) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	e.enter("rules")
	return e.real.Judge(ctx, sub, f, at)
}

func (e entering) IDs() []string { return e.real.IDs() }

// Fault 11: the wall clock is set as each room of one question is entered. Whatever was begun at one reading is judged at that one to the
// end: every instant of the permit is its reading plus a duration, and the durations are those of an undisturbed night.
func TestClockStepsBetweenTheRooms(t *testing.T) {
	quiet := newBench(t).monotonic()
	quiet.home()
	want, err := quiet.slew(zero, there)
	require.NoError(t, err)
	require.NotNil(t, want.Permit, want.Sentence)
	for name, by := range steps() {
		for _, room := range []string{"clock", "facts", "rules", "record", "reply"} {
			b := newBench(t)
			b.judge = entering{must(b.d.Member("heron")).Rules, b.enter}
			b.restart()
			b.monotonic().home()
			asked, stepped := b.clock(), 0
			b.onEntering(func(in string) {
				if in == room && stepped == 0 {
					stepped++
					b.step(by)
				}
			})
			a, err := b.slew(zero, there)
			require.NoError(t, err)
			require.Equal(t, 1, stepped, "%s before %s: the room was entered", name, room)
			require.NotNil(t, a.Permit, "%s before %s: %s", name, room, a.Sentence)
			p := a.Permit
			assert.True(t, p.Asked.Round(0).Equal(asked.Round(0)), "%s before %s: asked at %s", name, room, p.Asked)
			assert.Equal(t, want.Permit.StartWithin, p.StartWithin, "%s before %s", name, room)
			assert.Equal(t, want.Permit.StopWithin, p.StopWithin, "%s before %s", name, room)
			assert.Zero(t, a.Receipt.Took, "%s before %s: no time passed", name, room)
			assert.True(t, b.entryAt(a.Receipt.Place).Time.Equal(asked), "%s before %s: its entry is of the reading it was judged at", name, room)
			assert.Equal(t, want.Facts["sun_separation_deg"], a.Facts["sun_separation_deg"], "%s before %s", name, room)
			b.wait(p.StopWithin)
			assert.True(t, b.look().State.Permit.Open(), "%s before %s: it lives its time", name, room)
			b.wait(time.Second)
			over := b.look().State.Permit
			assert.Equal(t, question.Withdrawn, over.State, "%s before %s: and not a second more", name, room)
			assert.Contains(t, over.Because, "past its stop_by", "%s before %s", name, room)
		}
	}
}

// Fault 11: a permit ends by the monotonic clock. One that has not begun ends by whichever clock says first that its time is over: a
// monotonic clock stands still while the machine sleeps, and the sky does not.
func TestPermitEndsByTheMonotonicClock(t *testing.T) {
	for name, by := range steps() {
		granted := func() (*bench, *question.Permit) {
			b := newBench(t).monotonic()
			b.home()
			b.wait(time.Second)
			q := question.Question{
				ID: "question-1", Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &there, Message: []byte("x")}, Sample: b.sample(zero),
				Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person", BeginLater: true,
			}
			a, err := b.d.Ask(t.Context(), q, request(q.ID, "x"))
			require.NoError(t, err)
			require.NotNil(t, a.Permit, a.Sentence)
			b.wait(time.Second)
			b.step(by)
			return b, a.Permit
		}
		begin := func(b *bench, p *question.Permit) decide.Outcome {
			out, err := b.report(decide.Report{Begin: p.ID, Sample: b.sample(zero)})
			require.NoError(t, err)
			return out
		}
		b, p := granted()
		out := begin(b, p)
		if by < 0 {
			require.Equal(t, question.Begun, out.Permit.State, "%s: in time: %v", name, out.Notices)
		} else {
			assert.Equal(t, question.Expired, out.Permit.State, "%s: the machine may have slept", name)
			assert.Contains(t, out.Permit.Because, "not begun by", name)
		}

		b, p = granted()
		b.wait(p.StartWithin)
		out = begin(b, p)
		assert.Equal(t, question.Expired, out.Permit.State, "%s: too late by the monotonic clock", name)
		assert.Contains(t, out.Permit.Because, "not begun by", name)
	}
}

// Fault 11: the life of a permit that began with its answer is as long as it was told, whatever is set meanwhile.
func TestBegunPermitLivesItsTime(t *testing.T) {
	for name, by := range steps() {
		b := newBench(t).monotonic()
		b.home()
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		require.NotNil(t, a.Permit, a.Sentence)
		b.wait(time.Second)
		b.step(by)
		b.wait(a.Permit.StopWithin - time.Second)
		assert.True(t, b.look().State.Permit.Open(), name)
		b.wait(time.Second)
		b.d.LapseAll()
		over := b.look().State.Permit
		assert.Equal(t, question.Withdrawn, over.State, name)
		assert.Contains(t, over.Because, "past its stop_by", name)
	}
}

// Fault 11: one seen unmoved after its start_by is over, by the clock as it was set since.
func TestUnmovedIsOverAfterAStepBack(t *testing.T) {
	b := newBench(t).monotonic()
	b.home()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	require.NotNil(t, a.Permit, a.Sentence)
	b.step(-time.Hour)
	b.wait(a.Permit.StartWithin + time.Second)
	out, err := b.report(decide.Report{Sample: b.sample(zero)})
	require.NoError(t, err)
	assert.False(t, b.look().State.Permit.Open(), "%v", out.Notices)
	assert.Contains(t, b.look().State.Permit.Because, "unmoved after its start_by")
}

// Fault 11: a sample grows old by the monotonic clock. An hour after the clock went back by an hour, one of before looks as if it had just
// been read; and the pose is carried over the time that passed.
func TestOldSampleIsNotFreshAgainAfterAStepBack(t *testing.T) {
	b := newBench(t).monotonic()
	b.home()
	b.wait(time.Second)
	b.step(-time.Hour)
	b.wait(time.Hour + 2*time.Second)
	a := b.askBlind(question.Action{Kind: question.Slew, Axes: &there})
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Nil(t, a.Permit)
	assert.Contains(t, objections(a), "pose/fresh")
	assert.InDelta(t, 3603, *a.Facts["pose_age_s"].Number, 1e-6)
	assert.InDelta(t, 3603, *finding(t, a, "pose/fresh").Fact.Number, 1)

	// The same machine's next sample is no older than the last one.
	out, err := b.report(decide.Report{Sample: b.sample(zero)})
	require.NoError(t, err)
	assert.Empty(t, out.Notices, "it is taken in")
	a, err = b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
}

// askBlind asks without a sample.
func (b *bench) askBlind(a question.Action) decide.Answer {
	id := "question-blind"
	a.Message = []byte(id)
	q := question.Question{ID: id, Rig: "heron", Action: a, Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person"}
	out, err := b.d.Ask(b.t.Context(), q, request(id, id))
	require.NoError(b.t, err)
	return out
}

// Fault 11: after a step forward nobody knows whether the machine slept: what was seen to track may have gone on for all of that time, or
// for none of it.
func TestTrackedPoseIsWideAfterAStepForward(t *testing.T) {
	b := newBench(t).monotonic()
	b.home()
	s := b.sample(rig.Axes{})
	s.Doing = question.Tracking
	_, err := b.report(decide.Report{Sample: s})
	require.NoError(t, err)
	was := b.look().Pose.Candidates[0]
	b.step(time.Hour)
	b.wait(time.Second)
	for _, c := range b.look().Pose.Candidates {
		d := c.Axes.Sub(was.Axes).Abs()
		assert.LessOrEqual(t, d.A1, 3*c.Sigma.A1, "where it was when seen is within: %s of %s", c.Axes, was.Axes)
	}
}
