package pose

import (
	"fmt"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Independent tells whether picture b is evidence of its own beside a, but for the agreement of the two: another exposure, after a
// deliberate move of more than one field, solved blind or from another hint; and if not, why. The move counts over the ground and
// against the stars, whichever is less: a false match repeats itself on the same field, which a rig that only tracks stays on for
// ever, and a pattern on the sensor does in the same spot, which one that rests never leaves. Source: the design, section 9.
func Independent(r *rig.Rig, a, b question.JudgedSolve) (bool, string) {
	field, moved := max(a.Field, b.Field), Deliberate(r, a, b)
	switch {
	case a.Mid.Equal(b.Mid) || a.Picture != "" && a.Picture == b.Picture:
		return false, "it is the picture already judged"
	case field <= 0:
		return false, "the width of the field is not known, so no move counts as deliberate: send it with the solve, or state it in the rig file"
	case !(moved > field): // no number is no move
		return false, fmt.Sprintf("the rig moved by %.2f° since the picture in doubt: more than one field (%.2f°) is wanted", moved.Deg(), field.Deg())
	case b.Blind:
		return true, ""
	case b.Hint == nil:
		return false, "it was not solved blind, and where its search was centred is not told: solve it blind, or send the hint"
	case a.Hint != nil && !otherHint(*a.Hint, *b.Hint, field):
		return false, "both were solved from the same hint"
	case a.Hint == nil && !a.Blind:
		return false, "where the search for the picture in doubt was centred was not told: solve this one blind"
	}
	return true, ""
}

// Deliberate is how far the tube moved deliberately between two pictures: over the ground and against the stars, whichever is less.
func Deliberate(r *rig.Rig, a, b question.JudgedSolve) unit.Angle {
	return min(direction(r, a.Pose).Angle(direction(r, b.Pose)), Moved(r, a, b))
}

// Moved is how far the tube moved against the stars between two pictures.
func Moved(r *rig.Rig, a, b question.JudgedSolve) unit.Angle {
	turn := -unit.Angle(b.Mid.Sub(a.Mid).Seconds()) * question.SiderealRate
	return frame.About(r.Pole(), turn).Apply(direction(r, a.Pose)).Angle(direction(r, b.Pose))
}

// otherHint tells whether two searches were centred more than a field apart. Of positions in two frames nothing is said: the frames
// are half a degree apart.
func otherHint(a, b question.Sky, field unit.Angle) bool {
	return a.Frame == b.Frame && frame.FromLonLat[frame.ICRS](a.RA, a.Dec).Angle(frame.FromLonLat[frame.ICRS](b.RA, b.Dec)) > field
}
