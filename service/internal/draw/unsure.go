package draw

import (
	"strings"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// sharp is the uncertainty of a pose, three standard deviations, from which on it is told. Choice: a third of a degree moves no part by more than
// some millimetres.
const sharp = 0.3 * unit.Degree

// Unsure says in how far a rig is not known to stand where it is drawn: the likeliest of the places that are held. Empty where it is.
func Unsure(p question.Pose) string {
	var b strings.Builder
	if n := len(p.Candidates); n > 1 {
		rig.Say(&b, "It may stand in %d places; this is the likeliest.", n)
	}
	if len(p.Candidates) > 0 {
		if s := question.Sigma3(p.Candidates[0].Sigma); s.Max() > unit.HalfTurn {
			rig.Say(&b, "It may have turned to anywhere: how far is not known.")
		} else if s.Max() > sharp {
			rig.Say(&b, "Where it stands is known to %s and %s only (three standard deviations).", degrees(s.A1), degrees(s.A2))
		}
	}
	if p.Because != "" {
		rig.Say(&b, "Why: %s.", p.Because)
	}
	return b.String()
}
