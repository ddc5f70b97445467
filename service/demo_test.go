package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// told runs the demo as a user does and returns what it printed.
func told(t *testing.T) string {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(t.Context(), []string{"demo"}, nil, &out, &errs, time.Now)
	if record := regexp.MustCompile(`verify (\S+\.keepclear)`).FindStringSubmatch(out.String()); record != nil {
		t.Cleanup(func() { os.RemoveAll(filepath.Dir(record[1])) })
	}
	require.Equal(t, exitDone, code, "%s\n%s", errs.String(), out.String())
	assert.Empty(t, errs.String())
	return out.String()
}

// oneLine undoes the wrapping.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// The demo tells its story, checks itself, keeps its record, names commands that work, and is what the README shows.
func TestDemo(t *testing.T) {
	t.Parallel()
	text := told(t)
	t.Run("tells its story", func(t *testing.T) { tellsItsStory(t, text) })
	t.Run("is what the README quotes", func(t *testing.T) { isQuoted(t, text) })
	t.Run("repeats itself", func(t *testing.T) { repeatsItself(t, text) })
	t.Run("names commands that work", func(t *testing.T) { namesCommands(t, text) })
}

func tellsItsStory(t *testing.T, text string) {
	for _, want := range []string{
		"would be DENIED", "travel limit would act at 23:43 only", "May the first solve of the night be believed? ALLOW", "Would pass now: track until 21:",
		"beyond 10° it is taken as false", "the camera touches the south-west leg", "Would pass now: home, axis 1 first", "one hour: summer time or zone",
		"in 1 chain", "14 allowed, 3 denied, 1 held",
	} {
		assert.Contains(t, oneLine(text), want)
	}
	assert.NotContains(t, text, "FAILS")
	assert.NotRegexp(t, `\d UTC`, text, "one clock tells the story")
	assert.NotContains(t, oneLine(text), "It lies 45", "what the answer has said is not said again")
	for i, line := range strings.Split(text, "\n") {
		if !strings.Contains(line, "keepclear-demo-") { // a path is as long as it is
			assert.LessOrEqual(t, len([]rune(line)), width, "line %d is too long for a narrow terminal: %s", i+1, line)
		}
		assert.NotContains(t, line, "\x1b", "nothing depends on colour")
	}
	for _, kind := range []string{"HOLD", "DENY"} {
		for _, at := range regexp.MustCompile(`(?m)^ {7}`+kind+`: `).FindAllStringIndex(text, -1) {
			assert.Contains(t, strings.SplitN(text[at[0]:], "\n0", 2)[0], "What to do: ", "every %s says what to do", kind)
		}
	}
}

// What the README shows of the demo is what the demo prints.
func isQuoted(t *testing.T, text string) {
	readme, err := os.ReadFile(filepath.Join("..", "README.md"))
	require.NoError(t, err)
	quoted := regexp.MustCompile("(?s)```\n(\\d\\d:\\d\\d .*?)```").FindSubmatch(readme)
	require.NotNil(t, quoted, "the README quotes a step of the demo")
	assert.Contains(t, text, string(quoted[1]), "renew the README's block from: go run ./service demo")
}

// A night that goes otherwise, or is cut short, is no success.
func TestDemoSaysWhenItWentOtherwise(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errs bytes.Buffer
	assert.Equal(t, exitCheck, run(ctx, []string{"demo"}, nil, &out, &errs, time.Now))
	assert.Contains(t, errs.String(), "interrupted")
	record := regexp.MustCompile(`\S+\.keepclear`).FindString(errs.String())
	assert.NoError(t, os.RemoveAll(filepath.Dir(record)))

	n, err := newNight(t.Context(), streams{nil, &out, &errs, time.Now}, filepath.Join(t.TempDir(), "night.keepclear"))
	require.NoError(t, err)
	defer n.close()
	n.home(&pb.Home{}, "May it home, unattested?", keepclear.Allow, true)
	require.Len(t, n.wrong, 1, "nobody said where the axes are: a hold, and not what was wanted")
	assert.Contains(t, n.wrong[0], "hold where allow was due")
}

// The same night gives the same words, but for where the record lies and for how many samples the client's watch, which goes by the real
// clock, put into it.
func repeatsItself(t *testing.T, text string) {
	path, entries := regexp.MustCompile(`\S+keepclear-demo-\S+`), regexp.MustCompile(`\d+\s+entries`)
	words := func(text string) string {
		return oneLine(entries.ReplaceAllString(path.ReplaceAllString(text, "RECORD"), "SOME entries"))
	}
	assert.Equal(t, words(text), words(told(t)))
}

// The verdicts of the night, in order; each answer is on record, and every number printed stands in an answer of the service.
func TestDemoAnswersAreThoseOfTheService(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	n, err := newNight(context.Background(), streams{nil, &out, &bytes.Buffer{}, time.Now}, filepath.Join(t.TempDir(), "night.keepclear"))
	require.NoError(t, err)
	defer n.close()
	n.evening()
	n.midnight()
	n.afterThePowerDip()
	n.morning(t.Context())
	require.Empty(t, n.wrong)
	const a, d, h = keepclear.Allow, keepclear.Deny, keepclear.Hold
	var verdicts []keepclear.Verdict
	for _, w := range n.seen {
		verdicts = append(verdicts, w.verdict)
	}
	assert.Equal(t, []keepclear.Verdict{a, a, a, d, a, a, a, a, d, a, a, a, d, a, h, a, a, a}, verdicts)

	text := oneLine(out.String())
	var last uint64
	for _, w := range n.seen {
		j := w.ask.GetJudgement()
		assert.Contains(t, text, w.what+" "+strings.ToUpper(w.verdict.String())+": "+inLocal(oneLine(j.GetSentence())), "the sentence is the service's, by the story's clock")
		assert.Len(t, j.GetFindings(), 30, "%s: one finding for every rule", w.what)
		assert.Greater(t, w.ask.GetReceipt().GetNumber(), last, "%s: each answer has an entry of its own", w.what)
		last = w.ask.GetReceipt().GetNumber()
		if c := j.GetClosest(); c != nil && c.GetUpperMm() > 0 {
			assert.Contains(t, text, fmt.Sprintf("Closest on the way: %s and %s, at least %.0f mm (%.0f mm wanted).", c.GetParts()[0], c.GetParts()[1], c.GetLowerMm(), c.GetRequiredMm()), w.what)
		}
	}
	falseOne := n.seen[8].ask.GetJudgement()
	var contact *pb.Contact
	for _, e := range falseOne.GetEnds() {
		if contact == nil {
			contact = e.GetContact()
		}
	}
	require.NotNil(t, contact)
	assert.Contains(t, text, fmt.Sprintf("After %.1f° of axis 1 and %.1f° of axis 2, in %.1f s, the camera touches the south-west leg",
		math.Abs(contact.GetTurned().GetAxis1Deg()), math.Abs(contact.GetTurned().GetAxis2Deg()), contact.GetAfterDuration().AsDuration().Seconds()))
	// 4°/s, 4°/s²: x degrees of a long turn have passed after x/4 + 1/2 s (Lynch & Park, Modern Robotics 2017, section 9.2.2.2).
	assert.InDelta(t, math.Abs(contact.GetTurned().GetAxis2Deg())/4+0.5, contact.GetAfterDuration().AsDuration().Seconds(), 0.01)
	for _, rule := range []string{"solve/fresh", "solve/still", "solve/optics", "solve/quality", "solve/blind"} {
		assert.Equal(t, pb.Effect_EFFECT_PASS, findingOf(falseOne, rule).GetEffect(), "%s: nothing in the solve's own figures gives it away", rule)
	}
}

// What the demo names to be tried works: each command of the service as it stands, and, where tests may build, the other command
// against a practice rig.
func namesCommands(t *testing.T, text string) {
	tail := strings.ReplaceAll(text[strings.Index(text, "To try next"):], "\\\n", "")
	var client [][]string
	seen := 0
	for _, line := range strings.Split(tail, "\n") {
		words := strings.Fields(line)
		switch {
		case len(words) > 3 && words[2] == "./service" && words[3] == "serve":
			_, err := serveFlags(streams{err: &bytes.Buffer{}}, words[4:])
			assert.NoError(t, err, line)
			seen++
		case len(words) > 3 && words[2] == "./service":
			code, out := ran(t, words[3:]...)
			assert.Equal(t, exitDone, code, "%s: %s", line, out)
			seen++
		case len(words) > 3 && words[2] == "./clients/keepclear":
			client = append(client, words[3:])
		}
	}
	assert.Equal(t, 3, seen)
	require.Len(t, client, 3)
	if os.Getenv("KEEPCLEAR_CI") == "" {
		t.Skip("set KEEPCLEAR_CI=1 to build the other command and try it too")
	}
	binary := filepath.Join(t.TempDir(), "keepclear")
	out, err := exec.Command("go", "build", "-o", binary, "../clients/keepclear").CombinedOutput()
	require.NoError(t, err, "%s", out)
	conn, _ := servedPractice(t)
	for _, words := range client {
		out, err := exec.Command(binary, append(words, "--at-address", conn.Target())...).CombinedOutput()
		assert.NoError(t, err, "%v: %s", words, out)
	}
}
