package main

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// hearing is a service that counts what reaches it.
type hearing struct {
	service
	heard []*pb.ReportRequest
}

func (h *hearing) Report(_ context.Context, r *pb.ReportRequest) (*pb.ReportResponse, error) {
	h.heard = append(h.heard, r)
	return &pb.ReportResponse{}, nil
}

func (h *hearing) register(g *grpc.Server) {
	pb.RegisterMotionServiceServer(g, h)
	pb.RegisterRigServiceServer(g, h)
}

// A report that the service refuses holds its rig for every program, so a figure out of its range never leaves; the flag is named.
func TestFiguresOutOfRangeAreNotSent(t *testing.T) {
	digest := strings.Repeat("5e", 32)
	for line, want := range map[string]string{
		"tell heron homed --person A --sigma 0":                                   "--sigma 0: must be greater than 0",
		"tell heron homed --person A --axis1 4000 --axis2 0":                      "--axis1 4000: must be",
		"tell heron homed --person A --axis1 5":                                   "give --axis1 and --axis2, or neither",
		"tell heron homed --person A --axis2 5":                                   "give --axis1 and --axis2, or neither",
		"tell heron proved --person A --signs --residual -4 --digest " + digest:   "--residual -4: must be greater than or equal to 0",
		"tell heron proved --person A --signs --residual 2000 --digest " + digest: "--residual 2000: must be",
		"tell heron act rebalanced --person " + strings.Repeat("A", 200):          "--person AAA",
		"tell Heron homed --person A":                                             "the rig's id must be of the form [a-z][a-z0-9-]{0,62}",
		"ask heron slew --ra 400 --dec 95 --frame icrs":                           "--dec 95: must be",
		"ask heron track --for −10m":                                              "--for -10m0s: must be greater than 0s",
		"ask heron slew --axis1 1 --axis2 1 --track 30h":                          "--track 30h0m0s: must be",
		"ask heron home --request-id x":                                           "--request-id x: must be of the form",
		"ask heron sync --solve -":                                                "--solve -: action.sync.solve.sky",
		"rehearse heron jog --axis1 1 --rate -1":                                  "--rate -1: must be",
	} {
		h := &hearing{service: service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) {
			t.Errorf("%s: was asked", line)
			return nil, nil
		}}}
		code, out, errs := typed(t, listening(t, h.register), line)
		assert.Equal(t, exitUsage, code, "%s: %s", line, out)
		assert.Contains(t, errs, want, line)
		assert.Empty(t, h.heard, line)
	}
}

// A person makes a refused report of a program good in that program's name: nobody else's report ends its hold.
func TestToldInAnothersName(t *testing.T) {
	h := &hearing{}
	address := listening(t, h.register)
	typed(t, address, "tell heron homed --person A")
	typed(t, address, "tell heron homed --person A --as camera")
	require.Len(t, h.heard, 2)
	assert.Equal(t, "keepclear command", h.heard[0].GetAsker())
	assert.Equal(t, "camera", h.heard[1].GetAsker())
}
