package decide_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// follower is a bench whose rig follows the stars from a place.
type follower struct {
	*bench
	since time.Time
	from  rig.Axes
	last  question.Question // the last sync asked for
}

// following homes the rig, moves it there under a permit and lets it follow the stars.
func following(t *testing.T, to rig.Axes) *follower {
	t.Helper()
	f := &follower{bench: newBench(t)}
	f.home()
	f.goTo(f.bench.rig.Home, to)
	return f
}

// goTo slews under a permit and shows the rig arrived, following the stars.
func (f *follower) goTo(from, to rig.Axes) {
	f.t.Helper()
	a, err := f.ask(question.Action{Kind: question.Slew, Axes: &to, Follow: time.Hour}, from, "")
	require.NoError(f.t, err)
	require.Equal(f.t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	f.wait(40 * time.Second)
	f.since, f.from = f.clock(), to
	f.show()
}

// at is where the axes are now.
func (f *follower) at() rig.Axes {
	return f.from.Add(rig.Axes{A1: unit.Angle(f.clock().Sub(f.since).Seconds()) * question.SiderealRate})
}

// tracking is a sample of now.
func (f *follower) tracking() *question.Sample {
	s := f.sample(f.at())
	s.Doing = question.Tracking
	return s
}

// show reports a sample of now.
func (f *follower) show() {
	f.t.Helper()
	_, err := f.report(decide.Report{Sample: f.tracking()})
	require.NoError(f.t, err)
}

// picture exposes for four seconds, showing samples, and solves to where the tube looks, off by so much in axis terms; 8 s later it
// is solved.
func (f *follower) picture(name string, off rig.Axes) *question.Solve {
	f.t.Helper()
	f.show()
	start := f.clock()
	f.wait(2 * time.Second)
	m, err := moment(f.clock())
	require.NoError(f.t, err)
	az, alt := frame.AzAlt(f.bench.rig.Chain.Direction(f.at().Add(off)))
	v := frame.Horizon[frame.Rig](az, f.bench.rig.Air().True(alt))
	hour := frame.SiteFromHour[frame.Rig](f.bench.rig.Site.Lat).Inverse().Apply(v)
	ra, dec := m.ICRS(m.FromHour(hour, f.bench.rig.Site.Lon)).LonLat()
	f.wait(2 * time.Second)
	f.show()
	f.wait(8 * time.Second)
	pixel, width, turn, mirrored, matched, residual, radius := unit.Arcsec(1.55), unit.Deg(1.79), unit.Deg(90), false, 60, unit.Arcsec(0.8), unit.Deg(180)
	return &question.Solve{
		Sky: question.Sky{RA: ra, Dec: dec, Frame: question.ICRS}, Start: start, Exposure: 4 * time.Second, Optics: "main", Pixel: &pixel, Width: &width,
		Rotation: &turn, Mirrored: &mirrored, Matched: &matched, Residual: &residual, Radius: &radius, Picture: name,
	}
}

// sync asks whether a solve may be accepted.
func (f *follower) sync(v *question.Solve) decide.Answer {
	f.t.Helper()
	id := fmt.Sprintf("question-%08d", f.ids.Add(1))
	q := question.Question{
		ID: id, Rig: "heron", Action: question.Action{Kind: question.Sync, Solve: v, Message: []byte(id)}, Sample: f.tracking(),
		Sent: f.clock(), At: f.clock(), Asker: "test", AttendedBy: "A. Person",
	}
	f.last = q
	a, err := f.d.Ask(context.Background(), q, request(id, id))
	require.NoError(f.t, err)
	return a
}

// solves are those that the rig's state keeps.
func (f *follower) solves() []question.JudgedSolve { return f.look().State.Solves }

// entry is what an answer's entry holds.
func (f *follower) entry(a decide.Answer) (leaves []string, body state.Body) {
	f.t.Helper()
	e, err := f.rec.Get(context.Background(), "heron", a.Receipt.Place.Number)
	require.NoError(f.t, err)
	body, err = state.Decode(e.Body)
	require.NoError(f.t, err)
	return e.LeaveIDs, body
}

// TestGoodSolveGetsALeave and no permit; the solve is kept as good, agreed and allowed.
func TestGoodSolveGetsALeave(t *testing.T) {
	f := following(t, there)
	epoch := f.look().State.Epoch
	a := f.sync(f.picture("p1", rig.Axes{}))
	require.Equal(t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	require.NotNil(t, a.Leave)
	assert.Nil(t, a.Permit, "a sync moves nothing")
	assert.True(t, a.Leave.Live)
	assert.Equal(t, epoch+1, a.Leave.Epoch)
	assert.Equal(t, epoch+1, f.look().State.Epoch)
	assert.Equal(t, a.Leave.ID, f.look().State.Leave.ID)
	leaves, _ := f.entry(a)
	assert.Equal(t, []string{a.Leave.ID}, leaves)
	require.Len(t, f.solves(), 1)
	j := f.solves()[0]
	assert.Equal(t, []bool{true, true, false}, []bool{j.Good, j.Agreed, j.Against})
	assert.Equal(t, question.Leaved, j.Verdict)
	assert.Equal(t, question.Known, f.look().Pose.State)
}

// TestFalseSolveIsEvidence against the pose: denied, kept as good and against, and the pose is in doubt.
func TestFalseSolveIsEvidence(t *testing.T) {
	f := following(t, there)
	a := f.sync(f.picture("p1", rig.DegAxes(0, -45)))
	require.Equal(t, verdict.Deny, a.Verdict, a.Sentence)
	assert.Nil(t, a.Leave)
	require.Len(t, f.solves(), 1)
	j := f.solves()[0]
	assert.Equal(t, []bool{true, false, true}, []bool{j.Good, j.Agreed, j.Against})
	assert.Equal(t, question.Refused, j.Verdict)
	assert.Equal(t, question.Candidates, f.look().Pose.State)
	_, body := f.entry(a)
	assert.NotEmpty(t, body.Notices, "what it did to the pose is on record")
	assert.Empty(t, body.Event.Set)
}

// TestPoorSolveIsNoEvidence: too few stars hold it, and it says nothing against the pose wherever it lies.
func TestPoorSolveIsNoEvidence(t *testing.T) {
	for _, off := range []rig.Axes{{}, rig.DegAxes(0, -5)} {
		f := following(t, there)
		v := f.picture("p1", off)
		few := 3
		v.Matched = &few
		a := f.sync(v)
		require.Equal(t, verdict.Hold, a.Verdict, a.Sentence)
		assert.Contains(t, objections(a), "solve/quality")
		require.Len(t, f.solves(), 1)
		j := f.solves()[0]
		assert.Equal(t, []bool{false, off == rig.Axes{}, false}, []bool{j.Good, j.Agreed, j.Against})
		assert.Equal(t, question.Held, j.Verdict)
		assert.Equal(t, question.Known, f.look().Pose.State)
	}
}

// TestTwoSolvesAgainstThePoseLock: the second, two fields further on, makes the pose unknown and locks the rig; only the first lock counts.
func TestTwoSolvesAgainstThePoseLock(t *testing.T) {
	f := following(t, there)
	f.leaved("p0")
	off := rig.DegAxes(0, -45)
	require.Equal(t, verdict.Deny, f.sync(f.picture("p1", off)).Verdict)
	f.nudge(rig.DegAxes(0, 4))
	a := f.sync(f.picture("p2", off))
	require.NotEqual(t, verdict.Allow, a.Verdict)
	view := f.look()
	assert.Equal(t, question.Unknown, view.Pose.State)
	require.Len(t, view.Locks, 1)
	lock := view.Locks[0]
	assert.Equal(t, decide.Ourselves, lock.SetBy)
	assert.Equal(t, "heron", lock.Rig)
	assert.NotEmpty(t, lock.Reason)
	assert.True(t, lock.Set.Equal(f.clock()))
	leaves, body := f.entry(a)
	assert.Equal(t, []string{lock.ID}, leaves, "found again by its id")
	require.Len(t, body.Event.Set, 1)
	assert.NotEmpty(t, body.Notices)

	again := f.put(f.last)
	assert.Nil(t, again.Leave, "the leave of another question is none of this one's")
	assert.Nil(t, again.Permit)

	f.restart()
	assert.Len(t, f.look().Locks, 1, "a lock survives a restart")
	_, _, err := f.d.Release([]string{lock.ID}, "A. Person", "seen to", f.clock(), request("release-0001", "x"))
	require.NoError(t, err)
	assert.Empty(t, f.look().Locks)
}

// nudge jogs slowly while the pose is in doubt.
func (f *follower) nudge(by rig.Axes) {
	f.t.Helper()
	rate := unit.Deg(0.4)
	f.show()
	a, err := f.askFollowing(question.Action{Kind: question.Jog, Axes: &by, Rate: &rate, Follow: time.Hour})
	require.NoError(f.t, err)
	require.Equal(f.t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	f.wait(11 * time.Second)
	f.since, f.from = f.clock(), f.at().Add(by)
	f.show()
}

func (f *follower) askFollowing(action question.Action) (decide.Answer, error) {
	id := fmt.Sprintf("question-%08d", f.ids.Add(1))
	action.Message = []byte(id)
	replaces := ""
	if p := f.look().State.Permit; p.Open() {
		replaces = p.ID
	}
	q := question.Question{ID: id, Rig: "heron", Action: action, Sample: f.tracking(), Sent: f.clock(), At: f.clock(), Asker: "test", AttendedBy: "A. Person", Replaces: replaces}
	return f.d.Ask(context.Background(), q, request(id, id))
}

// TestMidExposureSampleIsTakenIn where it is newer than what is held, and never where it is older or has no time. At rest, it stands out
// among samples that follow the stars.
func TestMidExposureSampleIsTakenIn(t *testing.T) {
	f := following(t, there)
	resting := func() (n int) {
		for _, m := range f.look().State.Recent {
			if m.Doing == question.AtRest && !m.Time.Before(f.since) {
				n++
			}
		}
		return n
	}
	v := f.picture("p1", rig.Axes{})
	f.wait(time.Second)
	mid := f.tracking()
	mid.Doing = question.AtRest
	f.wait(time.Second)
	v.Mid, v.Start = mid, mid.Time.Add(-2*time.Second)
	f.sync(v)
	require.Equal(t, 1, resting(), "newer than the last")

	older := *mid
	older.Time = mid.Time.Add(500 * time.Millisecond) // before the question's own sample
	v = f.picture("p2", rig.Axes{})
	v.Mid, v.Start = &older, older.Time.Add(-2*time.Second)
	_, body := f.entry(f.sync(v))
	assert.Equal(t, 1, resting())
	assert.Empty(t, body.Notices, "left alone, not taken in and found to be out of order")

	undated := f.tracking()
	undated.Time, undated.Doing = time.Time{}, question.AtRest
	v = f.picture("p3", rig.Axes{})
	v.Mid = undated
	f.sync(v)
	assert.Equal(t, 1, resting(), "without a time it is not known for newer")
}

// TestMidExposureSampleIsTheFirst of a rig that has shown none since the service knows it.
func TestMidExposureSampleIsTheFirst(t *testing.T) {
	f := &follower{bench: newBench(t), since: evening, from: there}
	v := f.picture("p1", rig.Axes{})
	f.bench = newBench(t)
	v.Mid = f.tracking()
	f.wait(30 * time.Second)
	v.Start = v.Mid.Time.Add(-2 * time.Second)
	id := "question-first"
	q := question.Question{ID: id, Rig: "heron", Action: question.Action{Kind: question.Sync, Solve: v, Message: []byte(id)}, Sent: f.clock(), At: f.clock(), Asker: "test"}
	_, err := f.d.Ask(context.Background(), q, request(id, id))
	require.NoError(t, err)
	require.NotNil(t, f.look().State.Sample)
	assert.True(t, f.look().State.Sample.Time.Equal(v.Mid.Time))
	assert.True(t, f.look().State.Sample.Received.Equal(f.clock()), "by our clock")
	assert.Equal(t, "test", f.look().State.Sample.Asker)
}
