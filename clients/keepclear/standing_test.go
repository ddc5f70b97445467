package main

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// oneRig is a service of one rig.
type oneRig struct {
	pb.UnimplementedRigServiceServer
	rig *pb.Rig
}

func (o *oneRig) ListRigs(context.Context, *pb.ListRigsRequest) (*pb.ListRigsResponse, error) {
	return &pb.ListRigsResponse{Rigs: []*pb.Rig{o.rig}}, nil
}

// Files that are others on disk than what is served are told with the rig, and nothing is said where none is.
func TestChangedFilesAreTold(t *testing.T) {
	for want, files := range map[string][]string{
		"":                              nil,
		"changed on disk: a.yaml is x":  {"a.yaml is x"},
		"changed on disk: b.stl is not": {"a.yaml is x", "b.stl is not"},
	} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		g := grpc.NewServer()
		pb.RegisterRigServiceServer(g, &oneRig{rig: &pb.Rig{Rig: "heron", ChangedFiles: files}})
		go g.Serve(l)
		code, out, _ := typed(t, l.Addr().String(), "rigs")
		g.Stop()
		assert.Equal(t, exitDone, code, out)
		assert.Contains(t, out, want)
		if want == "" {
			assert.NotContains(t, out, "changed on disk")
		}
	}
}
