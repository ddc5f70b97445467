package facts

import (
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/rig"
)

// unlisted says which sources samples read, better than what the pose goes by, that the rig file does not list; empty: none.
func (in *Input) unlisted(s *stand) string {
	var names []string
	for _, k := range in.Snapshot.Rig.Unlisted.Of(in.Rig.Digest) {
		if by := s.pose.Source; by != rig.AxisEncoder && (by != rig.MotorCount || k == rig.AxisEncoder) {
			names = append(names, string(k))
		}
	}
	slices.Sort(names)
	if len(names) == 0 {
		return ""
	}
	return "samples read the " + strings.Join(names, " and the ") + ", which the rig file does not list among its pose_sources: nothing goes by it"
}
