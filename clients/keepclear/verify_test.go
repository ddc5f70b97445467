package main

import (
	"net"
	"testing"

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
}

func (v *verifier) VerifyRecord(_ *pb.VerifyRecordRequest, s pb.RecordService_VerifyRecordServer) error {
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
