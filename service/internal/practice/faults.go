package practice

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Faults are those that last: switch them on and off as the story goes. What happens at an instant is a method of the mount.
type Faults struct {
	ClockAhead time.Duration  // the mount's clock less the true one
	Site       question.Place // where the mount takes itself to be; the rig's place unless changed
	Silent     bool           // telemetry has stopped
	NeverFlips bool           // it stays on its side, whatever it says
	CountsSync bool           // its counts move with a sync, as if the axes had turned
	SyncMissed float64        // share of each sync that it does not apply; 1: it ignores them
	Averages   int            // it takes the mean of its last so many syncs; 0: each as it comes
}

// PowerDip is a short loss of power: motion and tracking stop, counters and syncs are gone, and the mount believes that it is at home.
func (m *Mount) PowerDip(at time.Time) {
	m.Stop(at)
	m.lost = m.from.Sub(m.rig.Home)
	m.offset, m.sky, m.told = rig.Axes{}, [2]unit.Angle{}, nil
	m.syncs = 0
	m.restarts++
}

// Slip turns the axes without the counters knowing: a clutch, a kick, lost steps. A motion under way ends there; tracking goes on.
func (m *Mount) Slip(at time.Time, by rig.Axes) {
	m.settle(at)
	m.from = m.from.Add(by)
	m.lost = m.lost.Add(by)
}

// Stick jams axes, or frees them: a jammed one turns no more, and its counter sees that it does not. A motion under way ends there;
// tracking goes on with what still turns.
func (m *Mount) Stick(at time.Time, axis1, axis2 bool) {
	m.settle(at)
	m.stuck = [2]bool{axis1, axis2}
}

// settle ends a motion where it is, and lets tracking go on from there.
func (m *Mount) settle(at time.Time) {
	tracking := m.tracking
	m.Stop(at)
	m.tracking = tracking
}

// turning is what of a turn the axes do: a jammed one does none.
func (m *Mount) turning(by rig.Axes) rig.Axes {
	if m.stuck[0] {
		by.A1 = 0
	}
	if m.stuck[1] {
		by.A2 = 0
	}
	return by
}

// Nudge turns the axes by a little at an instant while what they do goes on, and the counters see it: a guider's correction, a push. A
// motion under way ends there.
func (m *Mount) Nudge(at time.Time, by rig.Axes) {
	m.settle(at)
	m.from = m.from.Add(m.turning(by))
}
