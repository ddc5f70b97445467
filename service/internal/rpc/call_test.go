package rpc_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// A call without a connection gets the reply, and the error, that one over a connection gets.
func TestCallIsAsOverAConnection(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(20, 30)
	raw, err := proto.Marshal(q)
	require.NoError(t, err)
	got, err := b.s.Call(context.Background(), "/keepclear.v1.MotionService/Ask", raw)
	require.NoError(t, err)
	var direct pb.AskResponse
	require.NoError(t, proto.Unmarshal(got, &direct))
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, direct.GetJudgement().GetVerdict(), "%s", objections(&direct))
	assert.True(t, proto.Equal(direct.GetJudgement(), b.mustAsk(q).GetJudgement()), "the same question over a connection")

	_, err = b.s.Call(context.Background(), "/keepclear.v1.MotionService/Ask", nil)
	_, over := b.motion.Ask(context.Background(), &pb.AskRequest{})
	assert.NotEmpty(t, fields(err))
	assert.Equal(t, fields(over), fields(err), "an empty question is refused field by field")
	_, err = b.s.Call(context.Background(), "/keepclear.v1.MotionService/Nothing", raw)
	assert.Equal(t, "NOT_FOUND", reason(err))
}
