package pose

import (
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// given is the position that a leave's sync gives the mount, of date at a sample.
func (t *turn) given(l *question.SyncLeave, x *question.Sample) (frame.Vec[frame.Date], bool) {
	var s question.Sky
	switch a := l.Action; {
	case a.Given != nil:
		s = *a.Given
	case a.Solve != nil:
		s = a.Solve.Sky
	default:
		return frame.Vec[frame.Date]{}, false
	}
	ra, dec, ok := t.ofDate(s, when(x))
	return frame.FromLonLat[frame.Date](ra, dec), ok
}

// arrivedSlack is how near the given position belief must come for a sync to count as done in full, beside a tenth of the step:
// mounts round what they are given. Common practice, no source.
const arrivedSlack = 2 * unit.Arcminute

// asGiven says whether a sync under leave arrived as given, in part, or not at all, and tells whether it may be the one that had leave: false,
// with an alarm, where belief moved, by more than its noise, elsewhere. The step counts as seen in each case.
func (t *turn) asGiven(q *still, l *question.SyncLeave, step rig.Axes) bool {
	given, ok := t.given(l, q.y)
	if !ok {
		t.say(SyncSeen, l.ID, "the sync of leave %s moved the belief by %s", l.ID, step)
		return true
	}
	was, is, grown := t.carried(q), q.vy.toward(), t.restGrowth(q)
	before, after := was.Angle(given), is.Angle(given)
	switch {
	case after <= max(arrivedSlack+grown.Abs(), before/10):
		t.say(SyncSeen, l.ID, "the sync of leave %s moved the belief by %s", l.ID, step)
	case after < before*9/10 && was.Angle(is) <= before+arrivedSlack:
		t.say(SyncMissed, l.ID, "the mount was told a position %.2f° from its belief and took a part: %.2f° are left", before.Deg(), after.Deg())
	case !beyond(step, q.allowed):
		t.say(SyncMissed, l.ID, "the mount was told a position %.2f° from its belief and still believes one %.2f° from it: it ignored the sync", before.Deg(), after.Deg())
	default:
		l.Because = "the mount was synced elsewhere at " + hms(when(q.y))
		t.alarm(UnaskedSync, l.ID, "the belief moved by %s, from %.2f° to %.2f° off the position of leave %s: not the sync that had leave", step, before.Deg(), after.Deg(), l.ID)
		return false
	}
	return true
}

// carried is the earlier of two beliefs as it would stand at the later sample, had no sync moved it.
func (t *turn) carried(q *still) frame.Vec[frame.Date] {
	return frame.FromLonLat[frame.Date](q.vx.ra+t.restGrowth(q), q.vx.dec)
}
