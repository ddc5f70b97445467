package pose

import (
	"reflect"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/timescale"
)

// ahead is how far two clocks may be apart at the most: the loosest skew that time/agree may be set to.
const ahead = 30 * time.Second

// usualSkew is the default of the limit time/agree skew_s.
const usualSkew = 5 * time.Second

// skew is how far ahead of the service's clock a sample may be dated: as far as the two clocks may differ. One dated later would make every honest
// sample after it too old, and seem fresh itself until its date is past.
func (t *turn) skew() time.Duration {
	if t.w.Skew > 0 {
		return t.w.Skew
	}
	return usualSkew
}

// takes tells whether a sample is taken in at all: finite, dated no later than now by two clocks that may differ, newer than the last, and counted from this
// homing. What is refused changes nothing: the pose grows old and the rules hold.
func (t *turn) takes(x *question.Sample) bool {
	switch {
	case when(x).IsZero():
		t.say(Ignored, x.Asker, "a sample without any time is not taken in")
	case !finite(x):
		t.say(Ignored, x.Asker, "the sample of %s holds an angle that is no number or out of all range; it is not taken in", hms(when(x)))
	case !x.Time.IsZero() && !x.Received.IsZero() && x.Time.Sub(x.Received) > t.skew():
		t.say(Ignored, x.Asker, "the sample is dated %s, %.0f s ahead of the service's clock (%s), and is not taken in: set the asker's clock, or the service's",
			hms(x.Time), x.Time.Sub(x.Received).Seconds(), hms(x.Received))
	case t.s.Homing != nil && x.HomingID != "" && x.HomingID != t.s.Homing.ID:
		t.say(Ignored, x.Asker, "the sample of %s counts from homing %s, the rig from %s; it is not taken in", hms(when(x)), x.HomingID, t.s.Homing.ID)
	default:
		return t.inOrder(x)
	}
	return false
}

// inOrder tells whether a sample follows the last one. The same once more is no news and no fault, but for a rig that was homed since.
func (t *turn) inOrder(x *question.Sample) bool {
	last := t.s.Sample
	if last == nil {
		return true
	}
	same := when(x).Equal(when(last))
	switch {
	case same && alike(x, last):
		t.recount(x)
		return t.s.Anchor == nil && len(t.s.Anchored) > 0 // homed since: it shows where the rig counts from now
	case when(x).Before(when(last)):
		t.say(Ignored, x.Asker, "the sample of %s came after that of %s; it is not taken in%s", hms(when(x)), hms(when(last)), dated(x))
		return false
	case same && x.Asker == last.Asker && x.Sequence != nil && last.Sequence != nil && *x.Sequence <= *last.Sequence:
		t.say(Ignored, x.Asker, "two samples of %s differ, and the number %d is not above %d; the second is not taken in", hms(when(x)), *x.Sequence, *last.Sequence)
		return false
	}
	t.gap(x, last)
	return true
}

// dated says of a sample whose own time is far from when it came that a clock may be what is wrong.
func dated(x *question.Sample) string {
	if x.Time.IsZero() || x.Received.IsZero() || x.Received.Sub(x.Time) <= ahead {
		return ""
	}
	old, like := x.Received.Sub(x.Time), ""
	if h := timescale.LikelyHours(old); h != "" {
		like = ", which " + h
	}
	return sprintf(": it is dated %s before it came (%s by the service's clock)%s; see whether the asker's clock is right", old.Round(time.Second), hms(x.Received), like)
}

// recount keeps the number of a sample that says the same as the last one under a later number: it is not missing afterwards.
func (t *turn) recount(x *question.Sample) {
	last := *t.s.Sample
	if x.Asker == last.Asker && x.Sequence != nil && last.Sequence != nil && *x.Sequence > *last.Sequence {
		last.Sequence = x.Sequence
		t.s.Sample = &last
	}
}

// gap notes sequence numbers that are missing or begin anew. Time orders; a gap by itself proves nothing.
func (t *turn) gap(x, last *question.Sample) {
	if x.Sequence == nil || last.Sequence == nil || x.Asker != last.Asker {
		return
	}
	switch n, m := *x.Sequence, *last.Sequence; {
	case n <= m:
		t.say(Gap, x.Asker, "sample numbers began anew: %d after %d", n, m)
	case n-m > 1:
		t.say(Gap, x.Asker, "missing before sample %d: %d", n, n-m-1)
	}
}

// alike tells whether two samples say the same; when they came and under which number is not what they say.
func alike(x, y *question.Sample) bool {
	a, b := *x, *y
	a.Received, b.Received = time.Time{}, time.Time{}
	a.Read, b.Read = time.Time{}, time.Time{}
	a.Sequence, b.Sequence = nil, nil
	a.Up, b.Up = nil, nil
	a.Time, b.Time = time.Time{}, time.Time{} // compared by the caller, whatever the zone
	return reflect.DeepEqual(a, b)
}

// farthest bounds an axis reading: what the API takes, ten turns each way.
const farthest = 63 // radians, 3600° rounded up

// finite tells whether every angle of a sample is a number in its range.
func finite(x *question.Sample) bool {
	for _, r := range x.Readings {
		if !r.Axes.Finite() || r.Axes.Abs().Max() > farthest {
			return false
		}
		if r.Sigma != nil && (!r.Sigma.Finite() || r.Sigma.A1 < 0 || r.Sigma.A2 < 0) {
			return false
		}
	}
	if b := x.Belief; b != nil && !(b.Sky.RA.Finite() && b.Sky.Dec.Abs() <= 1.5707963267948968) {
		return false
	}
	if x.Site != nil && !(x.Site.Lat.Abs() <= 1.5707963267948968 && x.Site.Lon.Finite()) {
		return false
	}
	return x.Sidereal == nil || x.Sidereal.Finite()
}

// hms writes an instant for people.
func hms(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05") }
