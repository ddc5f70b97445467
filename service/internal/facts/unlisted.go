package facts

import (
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// reads tells whether the last sample reads a source: what one read once, and none does now, is no news.
func (s *stand) reads(k rig.SourceKind) bool {
	return s.sample != nil && slices.ContainsFunc(s.sample.Readings, func(r question.Reading) bool { return r.Source == k })
}

// unlisted says which sources samples read, better than what the pose goes by, that the rig file does not list; empty: none.
func (in *Input) unlisted(s *stand) string {
	var names []string
	for _, k := range in.Snapshot.Rig.Unlisted.Of(in.Rig.Digest) {
		if by := s.pose.Source; s.reads(k) && by != rig.AxisEncoder && (by != rig.MotorCount || k == rig.AxisEncoder) {
			names = append(names, string(k))
		}
	}
	slices.Sort(names)
	if len(names) == 0 {
		return ""
	}
	return "samples read the " + strings.Join(names, " and the ") + ", which the rig file does not list among its pose_sources: nothing goes by it"
}
