package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/verdict"
)

// beside is where the axes stand before a motion to or from home by which a flap, where it is shut, is in the way.
var beside = rig.DegAxes(60, 40)

// withFlap gives heron a flap on the ground: open it is out of the way, shut it is where the front of the tube goes between home and beside.
func withFlap(r *rig.Rig) {
	front := r.Chain.Point2.Add(r.Chain.Dir2.Scale(205)).Add(r.Chain.Tube.Scale(520))
	ball := func(at frame.Vec[frame.Rig]) []solid.Shape {
		s, err := solid.Sphere(at, 60)
		if err != nil {
			panic(err)
		}
		return []solid.Shape{s}
	}
	r.Parts = append(r.Parts[:len(r.Parts):len(r.Parts)], rig.Part{Name: "flap", Link: rig.Ground, States: []rig.State{
		{Name: "open", Shapes: ball(frame.Vec[frame.Rig]{Y: 9000})}, {Name: "shut", Shapes: ball(r.Chain.Link2(beside.Scale(0.5)).Point(front))},
	}})
}

func flapped(s *question.Sample, state string) *question.Sample {
	if state != "" {
		s.Parts = []rig.PartState{{Part: "flap", Name: state}}
	}
	return s
}

// A permit keeps the states of parts that it was judged in, over the record too, and begins with no others.
func TestPermitKeepsThePartsThatWereJudged(t *testing.T) {
	for _, c := range []struct {
		asked, begun string
		want         question.PermitState
	}{
		{"open", "open", question.Begun}, {"open", "shut", question.Granted}, {"open", "", question.Granted},
	} {
		b := newBenchOf(t, withFlap)
		b.home()
		b.wait(time.Second)
		ask := func(state string) decide.Answer {
			to := beside
			q := question.Question{ID: "question-flap-" + state, Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &to}, Sample: flapped(b.sample(zero), state),
				Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person", BeginLater: true}
			a, err := b.d.Ask(t.Context(), q, request(q.ID, q.ID))
			require.NoError(t, err)
			b.wait(time.Second)
			return a
		}
		for _, state := range []string{"shut", ""} {
			a := ask(state)
			require.Equal(t, verdict.Deny, a.Verdict, "%q: %s", state, a.Sentence)
			assert.Contains(t, a.Sentence, "flap")
		}
		a := ask(c.asked)
		require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
		assert.Equal(t, []rig.PartState{{Part: "flap", Name: "open"}}, a.Permit.Parts)
		assert.Equal(t, a.Permit.Parts, b.look().State.Permit.Parts, "as the record has it")
		out, err := b.report(decide.Report{Begin: a.Permit.ID, Sample: flapped(b.sample(zero), c.begun)})
		require.NoError(t, err)
		require.Equal(t, c.want, out.Permit.State, "%v %v", c, out.Notices)
		if c.want != question.Begun {
			continue
		}
		b.wait(time.Second)
		moving := flapped(b.sample(rig.DegAxes(1, 1)), "shut")
		moving.Doing = question.Moving
		out, err = b.report(decide.Report{Sample: moving})
		require.NoError(t, err)
		assert.Nil(t, out.Permit, "who moves on it stops")
		now := b.look().State.Permit
		assert.Equal(t, question.Withdrawn, now.State)
		assert.Contains(t, now.Because, "says flap shut, and permit "+a.Permit.ID+" was judged with flap open: stop it")
	}
}

// How a part stood in an old sample says nothing of now: a homing, which wants no fresh one, is judged in all of its states, and so is one that is asked
// for with a sample that says otherwise and is not taken in.
func TestOldPartStatesDoNotCount(t *testing.T) {
	home := question.Action{Kind: question.Home}
	for _, c := range []struct {
		state string
		age   time.Duration
		want  verdict.Verdict
	}{
		{"open", 9 * time.Second, verdict.Allow}, {"open", 10 * time.Second, verdict.Allow}, {"open", 11 * time.Second, verdict.Deny}, {"open", time.Hour, verdict.Deny},
		{"shut", 9 * time.Second, verdict.Deny}, {"", 9 * time.Second, verdict.Deny},
	} {
		b := newBenchOf(t, withFlap)
		_, err := b.report(decide.Report{Homed: &decide.HomedReport{Person: "A. Person", At: &beside, Sigma: &rig.Axes{}}, Sample: b.sample(beside)})
		require.NoError(t, err)
		b.wait(time.Second)
		_, err = b.report(decide.Report{Sample: flapped(b.sample(beside), c.state)})
		require.NoError(t, err)
		b.wait(c.age)
		a := b.askBlind(home)
		require.Equal(t, c.want, a.Verdict, "%v: %s", c, a.Sentence)
		old := "the part states last told are too old to count: each part takes up all of its states"
		if c.age > 10*time.Second {
			assert.Contains(t, a.Notes, old)
			assert.NotContains(t, a.Notes, "no part states were given: each part takes up all of its states")
		} else {
			assert.NotContains(t, a.Notes, old)
		}
	}
	for late, want := range map[string]verdict.Verdict{"shut": verdict.Deny, "open": verdict.Allow} { // of what the held one says too nothing is unheard
		b := newBenchOf(t, withFlap)
		_, err := b.report(decide.Report{Homed: &decide.HomedReport{Person: "A. Person", At: &beside, Sigma: &rig.Axes{}}, Sample: b.sample(beside)})
		require.NoError(t, err)
		b.wait(time.Second)
		before := flapped(b.sample(beside), late)
		b.wait(time.Second)
		_, err = b.report(decide.Report{Sample: flapped(b.sample(beside), "open")})
		require.NoError(t, err)
		b.wait(time.Second)
		home.Message = []byte("late")
		q := question.Question{ID: "question-late", Rig: "heron", Action: home, Sample: before, Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person"}
		a, err := b.d.Ask(t.Context(), q, request(q.ID, q.ID))
		require.NoError(t, err)
		assert.Equal(t, want, a.Verdict, "%s: %s", late, a.Sentence)
	}
}
