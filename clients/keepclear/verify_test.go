package main

import (
	"bytes"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// verifier is a service whose record is found to be so.
type verifier struct {
	pb.UnimplementedRecordServiceServer
	steps []*pb.VerifyRecordResponse
	asked *pb.VerifyRecordRequest
}

func (v *verifier) VerifyRecord(r *pb.VerifyRecordRequest, s pb.RecordService_VerifyRecordServer) error {
	v.asked = r
	for _, r := range v.steps {
		if err := s.Send(r); err != nil {
			return err
		}
	}
	return nil
}

// A record that is whole is 0, one that is not is 5, and a verification that ended without a result is a hold: nothing was verified.
func TestVerifyExitCodes(t *testing.T) {
	read := &pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_ReadCount{ReadCount: 1024}}
	result := func(whole bool, sentence string) *pb.VerifyRecordResponse {
		return &pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_Result{Result: &pb.VerifyResult{Whole: whole, Sentence: sentence}}}
	}
	for name, c := range map[string]struct {
		steps []*pb.VerifyRecordResponse
		code  int
		says  string
	}{
		"whole":     {[]*pb.VerifyRecordResponse{read, result(true, "The record is whole.")}, exitDone, "WHOLE  The record is whole."},
		"not whole": {[]*pb.VerifyRecordResponse{read, result(false, "Entry 7 is not what it was.")}, exitCheck, "NOT WHOLE  Entry 7 is not what it was."},
		"said once": {[]*pb.VerifyRecordResponse{read, result(false, "Not whole: entry 7 is missing.")}, exitCheck, "NOT WHOLE  entry 7 is missing."},
		"cut short": {[]*pb.VerifyRecordResponse{read}, exitHold, "HOLD"},
		"nothing":   {nil, exitHold, "HOLD"},
	} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		g := grpc.NewServer()
		pb.RegisterRecordServiceServer(g, &verifier{steps: c.steps})
		go g.Serve(l)
		for _, flags := range []string{"", " --json"} {
			code, out, _ := typed(t, l.Addr().String(), "verify"+flags)
			assert.Equal(t, c.code, code, "%s%s: %s", name, flags, out)
			if flags == "" {
				assert.Contains(t, out, c.says, name)
			}
		}
		g.Stop()
	}
}

// A chain that is none is a wrong name, as any other.
func TestVerifyAWrongName(t *testing.T) {
	address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, nameless{}) })
	code, _, errs := typed(t, address, "verify nope")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errs, `chain "nope": there is none`)
}

// nameless knows no chain.
type nameless struct {
	pb.UnimplementedRecordServiceServer
}

func (nameless) VerifyRecord(r *pb.VerifyRecordRequest, _ pb.RecordService_VerifyRecordServer) error {
	return status.Errorf(codes.NotFound, "chain %q: there is none", r.GetChain())
}

// A receipt goes to the service as ask prints it; one that cannot be read is wrong usage, not a record that is whole.
func TestVerifyTakesReceipts(t *testing.T) {
	v := &verifier{steps: []*pb.VerifyRecordResponse{{Step: &pb.VerifyRecordResponse_Result{Result: &pb.VerifyResult{Whole: true}}}}}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, v) })
	verified := func(receipt string) (int, string) {
		var out, errs bytes.Buffer
		code := run(t.Context(), []string{"verify", "--receipt", receipt, "--at-address", address}, strings.NewReader(""), &out, &errs, time.Now)
		return code, errs.String()
	}
	hash := strings.Repeat("0a", 32)
	code, said := verified("heron/5  " + hash)
	assert.Equal(t, exitDone, code, said)
	require.Len(t, v.asked.GetReceipts(), 1)
	got := v.asked.GetReceipts()[0]
	assert.Equal(t, "heron", got.GetChain())
	assert.EqualValues(t, 5, got.GetNumber())
	assert.Equal(t, bytes.Repeat([]byte{10}, 32), got.GetEntrySha256())
	for _, bad := range []string{"heron/5", "heron/5 " + hash[2:], "/5 " + hash, "heron/0 " + hash, "heron " + hash, "heron/5 " + hash[1:] + "x"} {
		code, said := verified(bad)
		assert.Equal(t, exitUsage, code, bad)
		assert.Contains(t, strings.Join(strings.Fields(said), " "), "want CHAIN/NUMBER and the hash in 64 digits", bad)
	}
}
