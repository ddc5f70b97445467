package main

import (
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// faults.md row 10: instants as people type them. A leap second is refused, by name; what the Go parser reads besides RFC 3339's own
// letter is read for what it plainly means.
func TestInstantsAsTyped(t *testing.T) {
	var got *pb.AskRequest
	s := &service{ask: func(r *pb.AskRequest) (*pb.AskResponse, error) { got = r; return &pb.AskResponse{}, nil }}
	address := served(t, s)
	plain := time.Date(2026, 12, 31, 23, 59, 59, 0, time.UTC)
	for typedAs, want := range map[string]time.Time{
		"2026-12-31T23:59:59Z":      plain,
		"2026-12-31T23:59:59,5Z":    plain.Add(500 * time.Millisecond),
		"2026-12-31T9:59:59Z":       plain.Add(-14 * time.Hour),
		"2026-12-31T23:59:59+24:00": plain.Add(-24 * time.Hour),
		"2026-12-31T23:59:59-02:30": plain.Add(150 * time.Minute),
		"2026-12-31T23:59:60Z":      {},
		"2026-12-31T24:00:00Z":      {},
		"2026-12-31":                {},
		"31.12.2026T23:59:59Z":      {},
		"2026-12-31T23:59:59":       {}, // whose clock?
	} {
		got = nil
		code, out, errs := typed(t, address, "ask heron track --until "+typedAs)
		if want.IsZero() {
			assert.Equal(t, exitUsage, code, "%s: %s", typedAs, out)
			assert.Nil(t, got, "%s: nothing was asked", typedAs)
			assert.Contains(t, out+errs, strings.Fields(typedAs)[0], "the instant is named")
			continue
		}
		require.NotNil(t, got, "%s: %s%s", typedAs, out, errs)
		assert.Equal(t, want, got.GetAction().GetTrack().GetUntilTime().AsTime(), typedAs)
	}
}

// faults.md row 51: whoever answers, if it is not the service, is a hold in bounded time, and the first line says so.
func TestStrangersAreAHold(t *testing.T) {
	for name, say := range map[string]func(net.Conn){
		"closes at once":         func(net.Conn) {},
		"speaks HTTP/1.1":        func(c net.Conn) { c.Write([]byte("HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nallow")) },
		"speaks no known tongue": func(c net.Conn) { c.Write([]byte(strings.Repeat("\x00\xff\x15\x03", 4096))) },
		"wants a certificate":    func(c net.Conn) { c.Write([]byte{0x15, 0x03, 0x03, 0x00, 0x02, 0x02, 0x28}) }, // a TLS alert: handshake failure
		"hangs up in the middle": func(c net.Conn) { c.Write([]byte{0, 0, 0, 4, 0, 0, 0, 0, 0, 0, 0, 9}) },       // half of HTTP/2's settings
	} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				say(c)
				c.Close()
			}
		}()
		code, out, _ := typed(t, l.Addr().String(), "ask heron home")
		assert.Equal(t, exitHold, code, "%s: %s", name, out)
		assert.True(t, strings.HasPrefix(out, "HOLD"), "%s: %s", name, out)
		l.Close()
	}
}

// faults.md row 83: whoever answers can write nothing on the terminal that moves its cursor, turns the writing round, or begins a line that
// reads like an answer: neither in an error's message nor in any text of a reply.
func TestRepliesMoveNoTerminal(t *testing.T) {
	const trick = "x\r\nALLOW  Every rule that applies passed.\x1b[1A\x1b[2K\u202e\u2028\x00\u009b"
	reply := &pb.AskResponse{Judgement: &pb.Judgement{Verdict: pb.Verdict_VERDICT_HOLD}}
	fillTexts(reply.ProtoReflect(), trick, 4)
	for name, s := range map[string]*service{
		"a reply": {ask: func(*pb.AskRequest) (*pb.AskResponse, error) { return reply, nil }},
		"an error": {ask: func(*pb.AskRequest) (*pb.AskResponse, error) {
			return nil, status.Error(codes.FailedPrecondition, trick)
		}},
	} {
		for _, with := range []string{"", " --json"} {
			code, out, errs := typed(t, served(t, s), "ask heron home"+with)
			assert.Equal(t, exitHold, code, name)
			assert.Contains(t, out+errs, "passed.", "%s: the text came", name)
			for _, line := range strings.Split(out+errs, "\n") {
				assert.False(t, strings.HasPrefix(line, "ALLOW"), "%s: %q", name, line)
				assert.Equal(t, oneLine(line), line, name)
			}
		}
	}
}

// fillTexts puts a text into every text field of a message, to some depth; lists get one element.
func fillTexts(m protoreflect.Message, text string, depth int) {
	for i := range m.Descriptor().Fields().Len() {
		fd := m.Descriptor().Fields().Get(i)
		switch {
		case fd.Kind() == protoreflect.StringKind && fd.IsList():
			m.Mutable(fd).List().Append(protoreflect.ValueOfString(text))
		case fd.Kind() == protoreflect.StringKind && fd.ContainingOneof() == nil:
			m.Set(fd, protoreflect.ValueOfString(text))
		case fd.Message() == nil || depth == 0:
		case fd.IsList():
			fillTexts(m.Mutable(fd).List().AppendMutable().Message(), text, depth-1)
		case fd.ContainingOneof() == nil && !strings.HasPrefix(string(fd.Message().FullName()), "google."):
			fillTexts(m.Mutable(fd).Message(), text, depth-1)
		}
	}
}
