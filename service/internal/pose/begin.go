package pose

import (
	"fmt"
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// unshown says what the sample of a begin leaves out of what its permit was judged by; empty: nothing.
func (t *turn) unshown(p *question.Permit, x *question.Sample) string {
	kind := p.Action.Kind
	switch {
	case kind == question.Home:
	case x.Belief == nil && !judgedFromCandidates(kind):
		return "its sample does not say where the mount believes it points, by which the motion goes"
	case p.Source != "" && t.rank(t.s.Pose.Source) > t.rank(p.Source):
		return fmt.Sprintf("it was judged by %s, and its sample leaves the pose to %s: tell the same of the rig as when asking", p.Source, orElse(string(t.s.Pose.Source), "nothing"))
	}
	return ""
}

// rank is the place of a source in the order of the file, best first; one that is not in it is the last.
func (t *turn) rank(k rig.SourceKind) int {
	i := slices.IndexFunc(t.r.Sources, func(s rig.Source) bool { return s.Kind == k })
	if i < 0 {
		return len(t.r.Sources)
	}
	return i
}
