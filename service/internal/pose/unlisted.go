package pose

import (
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// unlisted tells of a source that a sample reads and the rig file does not list, once for each revision of the file: nothing goes by it, and who
// takes it for one waits in vain for the pose to be carried by it.
func (t *turn) unlisted(x *question.Sample) {
	for _, r := range x.Readings {
		if !counted(r.Source) || listed(t.r, r.Source) || slices.Contains(t.s.Unlisted.Of(t.r.Digest), r.Source) {
			continue
		}
		t.s.Unlisted = &question.Unlisted{RigDigest: t.r.Digest, Sources: append(slices.Clone(t.s.Unlisted.Of(t.r.Digest)), r.Source)}
		t.say(Unlisted, string(r.Source), "samples read the %s, which is not among the pose_sources of the rig file: nothing goes by it; if no sync moves it, list it there and start the service anew", r.Source)
	}
}

// listed tells whether the rig file has a source.
func listed(r *rig.Rig, k rig.SourceKind) bool {
	return slices.ContainsFunc(r.Sources, func(s rig.Source) bool { return s.Kind == k })
}
