package pose

import (
	"math"
	"reflect"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/unit"
)

// Within these a sample that is not taken in, because a later one came first, says what that one says: nothing is lost with it. Choice: what a
// permit's start may miss by default (permit start_tolerance_deg), and the age at which a moving pose is old by default (pose/fresh).
const (
	alikeWithin = 0.5 * unit.Degree
	alikeFor    = 2 * time.Second
)

// Agrees tells whether a sample that came too late to be taken in says the same as the later one that is held: both still, nearly of one
// instant, with the same marks, and wherever both tell something, the same.
func Agrees(late *question.Sample, s question.RigState) bool {
	held := s.Sample
	if s.Homing != nil && !saysSame(late.HomingID, s.Homing.ID) {
		return false
	}
	if held == nil || !finite(late) || !late.Still() || !held.Still() || late.Doing != held.Doing {
		return false
	}
	if gap := when(held).Sub(when(late)); gap < 0 || gap > alikeFor {
		return false
	}
	return saysSame(late.RunMark, held.RunMark) &&
		countsAlike(late.SyncCount, held.SyncCount) && readAlike(late, held) && believeAlike(late.Belief, held.Belief) && setAlike(late, held) && statesAlike(late, held)
}

func saysSame(a, b string) bool { return a == "" || b == "" || a == b }

func countsAlike(a, b *uint32) bool { return a == nil || b == nil || *a == *b }

// readAlike holds the readings of each source that both tell against each other.
func readAlike(a, b *question.Sample) bool {
	for _, x := range a.Readings {
		for _, y := range b.Readings {
			if x.Source == y.Source && x.Axes.Sub(y.Axes).Abs().Max() > alikeWithin {
				return false
			}
		}
	}
	return true
}

func believeAlike(a, b *question.Belief) bool {
	switch {
	case a == nil || b == nil:
		return true
	case a.Side != b.Side:
		return false
	}
	within := alikeWithin
	if a.Sky.Frame != b.Sky.Frame { // the equator and equinox of date lie within as much of ICRS until 2050
		within *= 2
	}
	one := (a.Sky.RA - b.Sky.RA).Wrapped() * unit.Angle(max(0, math.Cos(float64(b.Sky.Dec))))
	return max(one.Abs(), (a.Sky.Dec-b.Sky.Dec).Abs()) <= within
}

// setAlike holds the mount's clock and site against each other.
func setAlike(a, b *question.Sample) bool {
	if a.Sidereal != nil && b.Sidereal != nil && (*a.Sidereal-*b.Sidereal).Wrapped().Abs() > alikeWithin {
		return false
	}
	return a.Site == nil || b.Site == nil || max((a.Site.Lat-b.Site.Lat).Abs(), (a.Site.Lon-b.Site.Lon).Wrapped().Abs()) < moved
}

// statesAlike holds the states of parts against each other. What the drives report of their effort is no place and is never twice the same.
func statesAlike(a, b *question.Sample) bool {
	return len(a.Parts) == 0 || len(b.Parts) == 0 || reflect.DeepEqual(a.Parts, b.Parts)
}
