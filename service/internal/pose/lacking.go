package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// lacking keeps what the sample that is counted on from does not show and the one before did, as it would read with the axes where they are
// now held: else what moves them beside samples that show nothing would never be seen. A source that was silent beside another that reads the
// axes is compared with that (see compareSources). by is what the likeliest place turned meanwhile.
func (t *turn) lacking(q *still, by rig.Axes) {
	if t.s.Anchor == nil || counted(q.kind) {
		return
	}
	l, filled := question.Shown{Sample: *t.s.Anchor, Since: q.since}, false
	if l.Since.IsZero() {
		l.Since = when(q.x)
	}
	a := &l.Sample
	for _, r := range q.x.Readings {
		if _, shown := reading(a, r.Source); !shown && counted(r.Source) {
			r.Axes = r.Axes.Add(by)
			a.Readings, filled = append(a.Readings[:len(a.Readings):len(a.Readings)], r), true
		}
	}
	if a.Belief == nil && q.vx.ok && q.kind == rig.Reckoned {
		a.Belief, a.SyncCount, filled = t.beliefOn(q), q.x.SyncCount, true // the count that went with it: a sync since is one that it does not show
	}
	if filled {
		t.s.Lacking = &l
	}
}

// beliefOn is the belief of the earlier of two samples as it would stand at the later one: at rest right ascension grows by itself.
func (t *turn) beliefOn(q *still) *question.Belief {
	grown := question.SiderealRate * unit.Angle(t.dt(q))
	switch {
	case q.x.Doing == question.Tracking && q.y.Doing == question.Tracking:
		grown = 0
	case !t.rested(q.x, q.y):
		grown /= 2
	}
	b := *q.x.Belief
	b.Sky = question.Sky{RA: (q.vx.ra + grown).Positive(), Dec: q.vx.dec, Frame: question.OfDate}
	return &b
}
