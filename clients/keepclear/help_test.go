package main

import (
	"bytes"
	"errors"
	"flag"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Every flag that a command reads stands in its help, and none stands there that it does not read.
func TestHelpTellsEveryFlag(t *testing.T) {
	for _, c := range commands() {
		var out bytes.Buffer
		k := &call{cmd: &c, ctx: t.Context(), args: []string{"--help"}, out: &out, now: time.Now}
		k.newFlags()
		_, err := c.run(k)
		require.True(t, errors.Is(err, flag.ErrHelp), c.name)
		listed := map[string]bool{}
		for _, f := range c.forms {
			for _, name := range append(append(append([]string{}, f.flags...), c.shared...), everywhere()...) {
				listed[name] = true
				assert.NotNil(t, k.flags.Lookup(name), "%s %s: --%s stands in the help and nowhere else", c.name, f.name, name)
			}
		}
		k.flags.VisitAll(func(f *flag.Flag) { assert.True(t, listed[f.Name], "%s: --%s is not in its help", c.name, f.Name) })
	}
}

// Help is of what was asked for, in both ways to ask, and reaches no service.
func TestHelpOfOneAction(t *testing.T) {
	for _, line := range []string{"help ask slew", "ask heron slew --help", "ask --help slew", "ask slew -h --json"} {
		code, out, errs := typed(t, "", line)
		assert.Equal(t, exitDone, code, "%s: %s", line, errs)
		assert.Contains(t, out, "keepclear ask RIG slew", line)
		assert.Contains(t, out, "--ra DEG", line)
		assert.NotContains(t, out, "--solve", line)
		assert.Contains(t, out, "withdraw RIG", "%s: what ends a permit", line)
		assert.Contains(t, out, "rehearse", "%s: what gives no leave", line)
	}
	_, out, _ := typed(t, "", "help ask")
	for _, f := range asked() {
		assert.Contains(t, out, f.example, f.name)
	}
	assert.NotContains(t, out, "--ra DEG  ", "flags of one action stand with that action")
	code, _, errs := typed(t, "", "help dance")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errs, `there is no command "dance"`)
}

// The examples are commands that parse: only the service, which is not there, is missing.
func TestExamplesParse(t *testing.T) {
	for _, c := range commands() {
		for _, f := range c.forms {
			if strings.Contains(f.example, "…") || strings.Contains(f.example, ".json") {
				continue // stands for a digest, an id, a file
			}
			line := strings.NewReplacer(`"A. Person"`, "A", `"cable caught"`, "caught").Replace(f.example)
			code, out, errs := typed(t, "127.0.0.1:1", line)
			assert.Equal(t, exitHold, code, "%s: %s%s", f.example, out, errs)
		}
	}
}

// What the help shows as JSON is what the service takes.
func TestJSONOfTheHelpIsTaken(t *testing.T) {
	for text, into := range map[string]proto.Message{sampleAsJSON: &pb.Sample{}, solveAsJSON: &pb.Solve{}, stepsAsJSON: &pb.RehearseRequest{}} {
		require.NoError(t, protojson.Unmarshal([]byte(text[strings.Index(text, "{"):]), into), text)
		if r, ok := into.(*pb.RehearseRequest); ok {
			r.Rig = "heron" // which the command fills in
		}
		assert.NoError(t, protovalidate.Validate(into), text)
	}
	for _, line := range strings.Split(sampleAsJSON+"\n"+solveAsJSON+"\n"+stepsAsJSON+"\n"+leaveGiven, "\n") {
		assert.LessOrEqual(t, len([]rune(line)), columns, "it stays as it is on a page: %s", line)
	}
}

// What was wrong is said once, with the one flag's help.
func TestBadFlagIsSaidOnce(t *testing.T) {
	_, out, errs := typed(t, "", "ask heron track --for 10")
	assert.Equal(t, 1, strings.Count(out+errs, "wanted"), errs)
	assert.Contains(t, errs, "--for TIME")
	assert.NotContains(t, errs, "--ra")
	assert.Contains(t, errs, "keepclear ask RIG track --for TIME", "the form that was meant")
}

// Sentences write the minus of typesetters and the sign of a degree; both are taken as they are copied.
func TestFiguresAsSentencesWriteThem(t *testing.T) {
	var got *pb.AskRequest
	s := &service{ask: func(r *pb.AskRequest) (*pb.AskResponse, error) { got = r; return &pb.AskResponse{}, nil }}
	address := served(t, s)
	_, out, errs := typed(t, address, "ask heron slew --axis1 −20.5° --axis2 -3 --side west")
	require.NotNil(t, got, out+errs)
	assert.Equal(t, -20.5, got.GetAction().GetSlew().GetAxes().GetAxis1Deg())
	assert.Equal(t, -3.0, got.GetAction().GetSlew().GetAxes().GetAxis2Deg())
}
