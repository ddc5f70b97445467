package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// homedMarked homes a rig anew with a sample that tells a run mark or none, after one that told another or none.
func homedMarked(t *testing.T, source func(*rig.Rig), before, mark string) *night {
	n := homed(t, source)
	n.m.wait(time.Minute)
	n.seen(before)
	n.m.wait(time.Second)
	x := n.m.sample()
	x.RunMark = mark
	n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
	return n
}

// However the first marks after a homing come, once one was seen another voids the homing; "-" is a sample that another program's
// comes before.
func TestMarkFirstSeenAfterAHoming(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "counts": withCount, "encoder": withEncoder, "reckoned": onlyReckoned} {
		for _, c := range []struct {
			before, homing string
			then           []string
			void           bool
		}{
			{"", "", []string{"7", "7"}, false},
			{"", "", []string{"", "7", "", "7"}, false},
			{"", "", []string{"", "7", "", "8"}, true},
			{"", "", []string{"7", "8"}, true},
			{"", "", []string{"", "7", "7", "8"}, true},
			{"7", "", []string{"7"}, false},
			{"7", "", []string{"", "", "7", "7"}, false},
			{"7", "", []string{"8"}, true}, // it may have restarted since
			{"7", "8", []string{"8", "", "8"}, false},
			{"7", "8", []string{"", "7"}, true},
		} {
			n := homedMarked(t, source, c.before, c.homing)
			for i, mark := range c.then {
				require.NotNil(t, n.s.Homing, "%s %+v: before %d\n%s", name, c, i, n.said())
				n.m.wait(2 * time.Second)
				n.seen(mark)
			}
			assert.Equal(t, c.void, n.s.Homing == nil, "%s %+v\n%s", name, c, n.said())
			assert.Equal(t, c.void, n.state() != question.Known, "%s %+v\n%s", name, c, n.said())
		}
	}
}

// A homing told without a sample takes the mark of the first one: what ran before does not matter.
func TestHomedWithoutASampleTakesTheFirstMark(t *testing.T) {
	n := homed(t, withCount)
	n.m.wait(time.Minute)
	n.seen("7")
	n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, nil))
	n.m.wait(time.Second)
	n.seen("8")
	require.Equal(t, question.Known, n.state(), n.said())
	n.m.wait(time.Second)
	n.seen("7")
	require.Nil(t, n.s.Homing)
}

// The mark of a sample that moves, or that comes too late to be taken in, is seen all the same.
func TestMarksOfSamplesThatShowNoPlace(t *testing.T) {
	n := homed(t, withCount)
	n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, nil))
	n.m.wait(time.Second)
	x := n.m.sample()
	x.Doing, x.RunMark = question.Moving, "7"
	n.take(Observe(n.w, n.s, x))
	require.NotNil(t, n.s.Homing)
	n.m.wait(time.Second)
	n.seen("8")
	require.Nil(t, n.s.Homing, "moving: %s", n.said())

	for _, c := range []struct {
		back time.Duration // by how much the late one is older
		void bool
	}{{2 * time.Second, true}, {time.Hour, false}} { // the second is from before the homing
		n = homedMarked(t, withCount, "", "")
		n.m.wait(4 * time.Second)
		n.seen("")
		late := n.m.sample()
		late.Time, late.RunMark = late.Time.Add(-c.back), "7"
		n.take(Observe(n.w, n.s, late))
		n.m.wait(time.Second)
		n.seen("8")
		assert.Equal(t, c.void, n.s.Homing == nil, "late by %s: %s", c.back, n.said())
	}
}

// A mount restarts before its first mark is seen: its count goes home, and that mark does not vouch for it; nor does one that was first seen
// beside no count.
func TestFirstMarkVouchesForNothingBefore(t *testing.T) {
	for _, silent := range []bool{false, true} {
		n := homedMarked(t, withCount, "", "")
		n.toAxes(rig.DegAxes(10, 25), false)
		n.m.wait(time.Minute)
		n.seen("")
		if silent {
			n.m.wait(2 * time.Second)
			x := n.m.sample()
			x.Readings, x.RunMark = nil, "7"
			n.take(Observe(n.w, n.s, x))
		}
		n.m.wait(20 * time.Second)
		n.m.fault = n.m.axes
		n.seen("7")
		require.NotEqual(t, question.Known, n.state(), "silent %v: %+v\n%s", silent, n.s.Pose, n.said())
		n.wayOut()
	}
}
