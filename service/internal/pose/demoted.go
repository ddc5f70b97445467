package pose

import (
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// howTrusted is what makes a source that moved with a sync one again.
const howTrusted = "see whether it does that: if so, take it out of the rig file; if not, a person checks the signs and proves the rig file anew (`keepclear tell RIG proved`), and homes"

// ProvedAnew takes in that a person checked the rig, in the revision of its file that is in force, signs and all: that vouches for the sources that it
// names. One that moved with a sync counts again from the next homing, and is demoted again if it moves with another. A homing alone does not
// lift that, for it shows nothing of syncs.
func ProvedAnew(w World, s question.RigState, person string) (question.RigState, []Notice) {
	t := begin(w, s)
	for _, k := range demoted(t.s) {
		t.part(k, "it moved with a sync, and the rig file was proved since")
		t.say(ActTaken, person, "the rig file was proved%s: the %s, which moved with a sync, is a source of the pose again from the next homing on", by(person), k)
	}
	t.s.Demoted = nil
	return t.done()
}

// LeftOut says which sources do not count for the pose although the rig file names them, and what makes them count again; empty: all do.
func LeftOut(r *rig.Rig, s question.RigState) string {
	var out []string
	for _, k := range demoted(s) {
		if listed(r, k) {
			out = append(out, sprintf("the %s is no source of the pose since it %s: %s", k, s.Demoted[k], strings.Replace(howTrusted, "RIG", r.ID, 1)))
		}
	}
	return strings.Join(out, "; ")
}

// demoted are the sources that moved with a sync, in a fixed order.
func demoted(s question.RigState) (out []rig.SourceKind) {
	for k := range s.Demoted {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
