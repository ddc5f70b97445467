package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// The plan that the command's help shows passes on the practice rig, for which it is shown: who tries it sees how a plan that passes reads.
func TestThePlanOfTheHelpPassesOnThePracticeRig(t *testing.T) {
	t.Parallel()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	source, err := os.ReadFile("../clients/keepclear/json.go")
	require.NoError(t, err)
	_, plan, found := strings.Cut(string(source), "const stepsAsJSON = `")
	require.True(t, found)
	plan, _, _ = strings.Cut(plan, "`")
	req := &pb.RehearseRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(plan[strings.Index(plan, "{"):]), req))
	req.Rig = "heron"
	out, err := newStepping(t, members).plan.Rehearse(t.Context(), req)
	require.NoError(t, err)
	require.Len(t, out.GetSteps(), len(req.GetSteps()))
	for i, s := range out.GetSteps() {
		assert.Equal(t, pb.Verdict_VERDICT_ALLOW, s.GetOutlook().GetVerdict(), "step %d: %s", i+1, said(s.GetOutlook()))
	}
}
