package main

import (
	"bytes"
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The demo tells its story, checks itself, keeps its record, and names commands that work.
func TestDemoTellsItsStory(t *testing.T) {
	var out, errs bytes.Buffer
	code := run(context.Background(), []string{"demo"}, nil, &out, &errs, time.Now)
	require.Equal(t, exitDone, code, "%s\n%s", errs.String(), out.String())
	text := out.String()
	for _, want := range []string{
		"would be DENIED", "May the first solve of the night be believed?", "Would pass now: track until 21:",
		"beyond 10° it is taken as false", "touches the south-west leg", "Would pass now: home, axis 1 first", "one hour: summer time or zone", "in 1 chain",
	} {
		assert.Contains(t, strings.Join(strings.Fields(text), " "), want)
	}
	assert.NotContains(t, text, "FAILS")
	for i, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, len([]rune(line)), 100, "line %d is too long for a narrow terminal: %s", i+1, line)
	}
	// The record that it keeps verifies by the command that it names.
	file := regexp.MustCompile(`verify (\S+\.keepclear)`).FindStringSubmatch(text)
	require.NotNil(t, file)
	var verified bytes.Buffer
	assert.Equal(t, exitDone, run(context.Background(), []string{"verify", file[1]}, nil, &verified, &verified, time.Now))
	assert.Contains(t, verified.String(), "whole")
}

// The numbers that it prints are those of the answers: each verdict is derived by nobody's hand.
func TestDemoAnswersAreThoseOfTheService(t *testing.T) {
	n, err := newNight(context.Background(), streams{nil, &bytes.Buffer{}, &bytes.Buffer{}, time.Now}, t.TempDir()+"/night.keepclear")
	require.NoError(t, err)
	defer n.close()
	n.evening()
	n.midnight()
	require.Empty(t, n.wrong)
	for _, w := range n.seen {
		j := w.ask.GetJudgement()
		assert.NotEmpty(t, j.GetSentence(), w.what)
		assert.Len(t, j.GetFindings(), 27, "%s: one finding for every rule", w.what)
		assert.NotZero(t, w.ask.GetReceipt().GetNumber(), w.what)
	}
}
