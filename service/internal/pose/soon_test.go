package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// nearMeridian is a rig on the west with a permit to a target just before the meridian, for which the mount may stay or change sides.
func nearMeridian(t *testing.T, change ...func(*rig.Rig)) (*night, *question.Permit) {
	n := homed(t, change...)
	n.tracked(-22, 14)
	require.Equal(t, question.Known, n.state())
	n.forget()
	ra, dec := n.target(-0.2, 14)
	p := n.grant(ra, dec, rig.West, time.Hour)
	require.Less(t, p.EndS[0], 20.0)
	require.Greater(t, p.MotionS, 40.0, "the other end takes longer")
	return n, p
}

// A rig that stays on its side is there when the motion to that end is over, however long the one to the other side takes.
func TestArrivesByTheTimeOfItsOwnEnd(t *testing.T) {
	for name, change := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "count": withCount, "encoder": withEncoder} {
		for _, every := range []time.Duration{0, 1500 * time.Millisecond} {
			n, p := nearMeridian(t, change)
			n.every = every
			n.run(n.m.goal(p.Action.Sky.RA, p.Action.Sky.Dec, rig.West, n.m.at.Add(8*time.Second)), question.Tracking)
			assert.Equal(t, question.Known, n.state(), "%s: %s", name, n.s.Doubt)
			assert.NotContains(t, n.kinds(), TooSoon, name)
		}
	}
}

// One that is across too soon, by the time of that end, is in doubt; so is one that is too soon at the end on its own side.
func TestTooSoonByTheTimeOfItsOwnEnd(t *testing.T) {
	for side, fast := range map[rig.Side]float64{rig.East: 1.5, rig.West: 2} {
		for name, change := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "count": withCount} {
			n, p := nearMeridian(t, change)
			for i := range p.EndS {
				p.EndS[i] *= fast
			}
			end := n.m.goal(p.Action.Sky.RA, p.Action.Sky.Dec, side, n.m.at)
			end = n.m.goal(p.Action.Sky.RA, p.Action.Sky.Dec, side, n.m.at.Add(time.Duration(n.m.takes(n.m.axes, end)*float64(time.Second))))
			n.run(end, question.Tracking)
			assert.Equal(t, question.Candidates, n.state(), "%s, %s", side, name)
			assert.Contains(t, n.kinds(), TooSoon, "%s, %s", side, name)
		}
	}
}

// A permit of before times were kept by end goes by the longest at its intended end, and by what the axes take at their rates at the others.
func TestTooSoonWhereTimesWereNotKeptByEnd(t *testing.T) {
	for _, c := range []struct {
		side rig.Side
		want question.PoseState
	}{{rig.West, question.Candidates}, {rig.East, question.Known}} {
		n, p := nearMeridian(t, withCount)
		p.EndS, p.MotionS = nil, 2*p.MotionS
		end := n.m.goal(p.Action.Sky.RA, p.Action.Sky.Dec, c.side, n.m.at.Add(8*time.Second))
		if c.side == rig.East {
			end = n.m.goal(p.Action.Sky.RA, p.Action.Sky.Dec, c.side, n.m.at.Add(time.Duration(n.m.takes(n.m.axes, end)*float64(time.Second))))
		}
		n.run(end, question.Tracking)
		assert.Equal(t, c.want, n.state(), "%s: %s", c.side, n.s.Doubt)
	}
}
