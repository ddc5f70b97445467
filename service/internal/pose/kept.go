package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// AsShown is the rig as its file has it, less what samples disproved of how it keeps a sync: that is then unknown, so both forms count. A
// homing takes the syncs away and not the manner of keeping them, so only another revision of the file ends it.
func AsShown(r *rig.Rig, s question.RigState) *rig.Rig {
	d := s.Disproved
	if r == nil || d == nil || d.RigDigest != r.Digest || d.Says != r.Mount.Sync || d.Says == rig.KeptInModel { // a model stays without bounds
		return r
	}
	shown := *r
	shown.Mount.Sync = rig.KeptUnknown
	return &shown
}

// disprove keeps that the mount keeps its syncs otherwise than the file says.
func (t *turn) disprove(m *move) {
	t.s.Disproved = &question.Disproof{Says: t.r.Mount.Sync, RigDigest: t.r.Digest, At: when(m.y)}
	t.r = AsShown(t.r, t.s)
}

// disproved tells whether what the file says of keeping syncs is known to be wrong.
func (t *turn) disproved() bool { return t.r != t.w.Rig }

// keptOtherwise tells, and puts in doubt, whether belief turned as the source did if the mount keeps its syncs in the form that the file
// does not say. The source is right then, and the place known; but where the next slew ends is not, until the syncs are gone.
func (t *turn) keptOtherwise(m *move, seems rig.Axes) bool {
	says, shows := t.r.Mount.Sync, rig.KeptOnSky
	if says == rig.KeptOnSky {
		shows = rig.KeptOnAxes
	}
	if says == rig.KeptInModel || !m.believed || len(t.s.Steps) == 0 || !t.beliefAgrees(m, seems, shows) {
		return false
	}
	t.doubt("the mount keeps its syncs as %s, the rig file says %s: mend the file, then home", offsetOf(shows), offsetOf(says))
	t.say(OffEnd, m.permit.ID, "%s; until the file is mended both count", t.s.Doubt)
	t.disprove(m)
	return true
}

// offsetOf names a form of keeping syncs for people.
func offsetOf(k rig.SyncKeeping) string {
	switch k {
	case rig.KeptOnSky:
		return "an offset on the sky"
	case rig.KeptOnAxes:
		return "an offset of its axes"
	case rig.KeptUnknown, rig.KeptInModel, rig.NotKept:
	}
	return string(k)
}
