package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/unit"
)

// A dither that no source can tell from resting, with leave to follow afterwards: it is there after its time, and following goes on under that leave.
func TestDitherIsOverByItsTime(t *testing.T) {
	for _, change := range []func(*night){func(*night) {}, func(n *night) { n.m.doing = question.AtRest }} {
		n := homed(t).tracked(-30, 40)
		n.look()
		ra, dec := n.m.belief().Sky.RA+unit.Arcminute, n.m.belief().Sky.Dec
		change(n)
		n.grant(ra, dec, n.m.r.Kind.SideOf(n.m.axes), time.Hour)
		tracks := n.m.doing == question.Tracking
		for range 20 {
			n.m.wait(time.Second)
			n.look()
		}
		require.Equal(t, tracks, n.s.Permit.Arrived != nil, n.said())
		if tracks {
			require.Equal(t, question.Begun, n.s.Permit.State, n.said())
		} else {
			require.Equal(t, question.Expired, n.s.Permit.State, "at rest it has not begun: %s", n.said())
		}
	}
}

// A mount that begins its dither only after a sample that showed it following, or goes round by an approach of its own, moves under its leave.
func TestDitherThatBeginsLate(t *testing.T) {
	n := homed(t).tracked(-30, 40)
	n.look()
	n.grant(n.m.belief().Sky.RA+unit.Arcminute, n.m.belief().Sky.Dec, n.m.r.Kind.SideOf(n.m.axes), time.Hour)
	n.m.wait(time.Second)
	n.look()
	n.m.doing = question.Moving
	n.m.wait(time.Second)
	n.look()
	require.NotContains(t, n.kinds(), UnaskedMotion, n.said())
	require.Equal(t, question.Begun, n.s.Permit.State, n.said())
}
