package pose

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// How far what is made of a reading by a program's usual mistakes may be off what came, and how far a reading must have jumped to look like
// one: by more than turns and slips of a night. Choice.
const (
	mistakenWithin = 0.3 * unit.Degree
	mistakenFrom   = 2 * unit.Degree
)

// likely names what a reading that jumped looks like, with a colon before it, or nothing: the same mistake comes again after each homing, so that
// none ends it. due is the reading that was to come, came the one that did.
func likely(due, came rig.Axes) string {
	alike := func(want rig.Axes) bool {
		return !came.Sub(want).Beyond(rig.Axes{A1: mistakenWithin, A2: mistakenWithin})
	}
	step := came.Sub(due)
	switch turns := wholeTurns(step); {
	case !step.Beyond(rig.Axes{A1: mistakenFrom, A2: mistakenFrom}):
		return ""
	case turns != rig.Axes{}:
		return ": looks like whole turns lost or gained, as by a program that reduces angles to one turn; they are told unreduced"
	case alike(rig.Axes{A1: due.A2, A2: due.A1}):
		return ": looks like the two axes exchanged"
	case alike(due.Scale(math.Pi / 180)):
		return ": looks like radians where degrees are wanted"
	case alike(due.Scale(-1)):
		return ": looks like both signs turned"
	}
	return ""
}

// nearTurn is how far from whole turns a step may be to look like them: more than an axis turns between two samples of a second, less than
// anybody would take for a whole turn. Choice.
const nearTurn = 30 * unit.Degree

// wholeTurns are the whole turns nearest a step; of an axis that is not near any, none.
func wholeTurns(step rig.Axes) rig.Axes {
	of := func(a unit.Angle) unit.Angle {
		turns := unit.Turn * unit.Angle(math.Round(float64(a/unit.Turn)))
		if (a - turns).Abs() > nearTurn {
			return 0
		}
		return turns
	}
	return rig.Axes{A1: of(step.A1), A2: of(step.A2)}
}
