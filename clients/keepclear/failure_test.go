package main

import (
	"errors"
	"net"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// programmersWords are what a person at a mount cannot do anything with.
var programmersWords = []string{"desc =", "rpc", "transport", "dial tcp", "preface", "http2", "resolver", "Argument:", "NotFound", "Exceeded", "Unknown", "Precondition", "Exhausted", "Internal"}

// Whatever goes wrong, its first line is in a person's words and names the reason where there is one.
func TestFailuresInPlainWords(t *testing.T) {
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	web, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer web.Close()
	go func() {
		for c, err := web.Accept(); err == nil; c, err = web.Accept() {
			_, _ = c.Write([]byte("HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nallow"))
			defer c.Close()
		}
	}()
	for address, want := range map[string]string{
		closed.Addr().String(): "Nobody answers at " + closed.Addr().String() + " (connection refused).",
		web.Addr().String():    "(what listens there speaks otherwise: another program?)",
		"nowhere.invalid:7413": "(there is no such host)",
	} {
		code, out, errs := typed(t, address, "ask heron home")
		assert.Equal(t, exitHold, code, address)
		assert.Contains(t, said(out), want)
		assertPlain(t, out+errs)
	}
	for code, want := range map[codes.Code]string{
		codes.InvalidArgument: "HOLD The service does not take this: it was so.", codes.NotFound: "HOLD The service answers: it was so.", codes.FailedPrecondition: "HOLD The service answers: it was so.",
		codes.ResourceExhausted: "HOLD The service has too much to do: it was so.", codes.Internal: "HOLD The service failed: it was so.", codes.Unknown: "HOLD The service failed: it was so.",
		codes.DeadlineExceeded: "HOLD No answer came in time: it was so.", codes.Unimplemented: "HOLD What listens there does not know this request",
	} {
		address := served(t, &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) { return nil, status.Error(code, "it was so") }})
		exit, out, errs := typed(t, address, "ask heron home")
		assert.Equal(t, exitHold, exit, code)
		assert.True(t, strings.HasPrefix(said(out), want), "%s: %s", code, out)
		assertPlain(t, out+errs)
	}
}

// What goes wrong on this side is not laid at the service's door.
func TestOwnFailuresAreOwn(t *testing.T) {
	assert.Equal(t, "keeping the answers: no space left", refusal(errors.New("keeping the answers: no space left")))
}

func assertPlain(t *testing.T, said string) {
	t.Helper()
	for _, word := range programmersWords {
		assert.NotContains(t, said, word)
	}
}
