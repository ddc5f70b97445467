package wire

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// The comments of the proto files are what people read; the rules beside them are what binds. These tests read the comments and
// hold the rules against them.

// interval is a range as a comment states it.
type interval struct {
	low, high         float64
	lowOpen, highOpen bool
}

// holds tells whether v lies in the interval.
func (r interval) holds(v float64) bool {
	return (v > r.low || v == r.low && !r.lowOpen) && (v < r.high || v == r.high && !r.highOpen)
}

var (
	declared    = regexp.MustCompile(`^\s*(?:optional |repeated )?([\w.]+) (\w+) = (\d+)\b`)
	opens       = regexp.MustCompile(`^\s*(message|enum|oneof) (\w+) \{`)
	intervalIn  = regexp.MustCompile(`([\[(])(-?[\d.e]+), (-?[\d.e]+)([\])])`)
	charactersN = regexp.MustCompile(`(?:1-|16-|at most )(\d+) (?:characters|of \[)`)
	bytesN      = regexp.MustCompile(`(\d+) bytes`)
	elementsN   = regexp.MustCompile(`(?:at most|to) (\d+)[.,]`)
)

// commentsByName returns the comment of each field and oneof of the proto files, by full name.
func commentsByName(t *testing.T) map[protoreflect.FullName]string {
	t.Helper()
	files, err := filepath.Glob("../../../api/keepclear/v1/*.proto")
	require.NoError(t, err)
	require.Len(t, files, 14, "proto files")
	out := map[protoreflect.FullName]string{}
	for _, f := range files {
		readComments(t, f, out)
	}
	return out
}

// readComments adds the comments of one file. It knows as much of the language as our files use.
func readComments(t *testing.T, path string, out map[protoreflect.FullName]string) {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	message, comment := "", ""
	for lines := bufio.NewScanner(file); lines.Scan(); {
		line := lines.Text()
		if text, ok := strings.CutPrefix(strings.TrimSpace(line), "//"); ok {
			comment += " " + strings.TrimSpace(text)
			continue
		}
		if m := opens.FindStringSubmatch(line); m != nil {
			if m[1] == "oneof" {
				out[protoreflect.FullName("keepclear.v1."+message+"."+m[2])] = comment
			} else {
				message = m[2]
			}
		} else if m := declared.FindStringSubmatch(line); m != nil {
			out[protoreflect.FullName("keepclear.v1."+message+"."+m[2])] = comment
		}
		comment = ""
	}
}

// statedDoubles returns the interval of each double as its comment states it.
func statedDoubles(t *testing.T) map[protoreflect.FullName]interval {
	t.Helper()
	out := map[protoreflect.FullName]interval{}
	for name, c := range commentsByName(t) {
		m := intervalIn.FindStringSubmatch(c)
		if m == nil {
			continue
		}
		low, err1 := strconv.ParseFloat(m[2], 64)
		high, err2 := strconv.ParseFloat(m[3], 64)
		require.True(t, err1 == nil && err2 == nil, "interval of %s: %q", name, m[0])
		out[name] = interval{low, high, m[1] == "(", m[4] == ")"}
	}
	return out
}

// TestCommentsAndRulesAgree compares, for each field of each request, what the comment says with what the rule says.
func TestCommentsAndRulesAgree(t *testing.T) {
	comments := commentsByName(t)
	seen := map[protoreflect.FullName]bool{}
	for _, p := range places() {
		fd := p.leaf()
		if seen[fd.FullName()] || !strings.HasPrefix(string(fd.FullName()), "keepclear.v1.") {
			continue
		}
		seen[fd.FullName()] = true
		c, found := comments[fd.FullName()]
		require.True(t, found, "no comment read for %s", fd.FullName())
		agrees(t, fd, c)
	}
	assert.Greater(t, len(seen), 100, "fields seen")
}

// agrees compares one field's comment with its rules.
func agrees(t *testing.T, fd protoreflect.FieldDescriptor, c string) {
	t.Helper()
	name, rules := fd.FullName(), rulesOf(fd)
	required := strings.Contains(c, " Required.") || strings.Contains(c, "required when it is sent back")
	assert.Equal(t, required, rules.GetRequired(), "%s: required by rule, comment %q", name, c)
	switch {
	case fd.IsList():
		m := elementsN.FindStringSubmatch(c)
		if assert.NotNil(t, m, "%s states no most elements: %q", name, c) {
			assert.Equal(t, m[1], fmt.Sprint(rules.GetRepeated().GetMaxItems()), "%s: most elements", name)
		}
	case fd.Kind() == protoreflect.DoubleKind:
		assert.Contains(t, c, doubleRange(rules.GetDouble()), "%s: interval", name)
		assert.NotEmpty(t, doubleRange(rules.GetDouble()), "%s has no range", name)
	case fd.Kind() == protoreflect.StringKind:
		m := charactersN.FindStringSubmatch(c)
		if m == nil {
			agreesPattern(t, fd, c)
			return
		}
		most := rules.GetString()
		assert.True(t, fmt.Sprint(most.GetMaxLen()) == m[1] || strings.Contains(most.GetPattern(), ","+m[1]+"}"),
			"%s: comment says at most %s, rule %v", name, m[1], most)
	case fd.Kind() == protoreflect.BytesKind:
		assert.True(t, strings.Contains(c, "1 MiB") || bytesN.MatchString(c), "%s states no length: %q", name, c)
	case fd.Kind() == protoreflect.MessageKind && fd.Message().FullName() == "google.protobuf.Duration":
		if fd.Name() != "took_duration" { // of a receipt: ours, sent back as it was
			assert.Contains(t, c, hours(wantedMessage(fd, rules)), "%s: interval", name)
		}
	}
}

// agreesPattern holds a text that states no length against its pattern; one that only refers to AskRequest has that one's.
func agreesPattern(t *testing.T, fd protoreflect.FieldDescriptor, c string) {
	t.Helper()
	pattern := strings.Trim(rulesOf(fd).GetString().GetPattern(), "^$")
	assert.NotEmpty(t, pattern, "%s has neither length nor pattern", fd.FullName())
	asIn := strings.Contains(c, "As in AskRequest") || strings.Contains(c, "request id")
	assert.True(t, asIn || strings.Contains(c, pattern) || strings.Contains(c, "permit, leave or lock id"), "%s: pattern %s, comment %q", fd.FullName(), pattern, c)
}

// hours spells an interval of seconds as the comments do: "a duration in [0 s, 86400 s]" is "[0 s, 24 h]".
func hours(phrase string) string {
	phrase = strings.TrimPrefix(phrase, "a duration in ")
	return strings.NewReplacer("86400 s", "24 h", "3600 s", "1 h").Replace(phrase)
}

// TestEveryRequiredFieldIsMissed leaves out each field that the comments call required, with the message around it present.
func TestEveryRequiredFieldIsMissed(t *testing.T) {
	c := checker(t)
	comments := commentsByName(t)
	count := 0
	for _, p := range places() {
		if !strings.Contains(comments[p.leaf().FullName()], " Required.") {
			continue
		}
		count++
		path := strings.TrimSuffix(p.path(), "[0]")
		f, found := at(c.Check(p.without()), path)
		assert.True(t, found, "Check without %v finds nothing", p)
		assert.Equal(t, "nothing", f.Got, "%v", p)
	}
	assert.Greater(t, count, 60, "required fields seen")
}

// TestEveryRequiredOneofIsMissed leaves out each oneof of which the comments want exactly one.
func TestEveryRequiredOneofIsMissed(t *testing.T) {
	c := checker(t)
	comments := commentsByName(t)
	for _, p := range places() {
		one := p.leaf().ContainingOneof()
		if one == nil || one.IsSynthetic() {
			continue
		}
		path := strings.TrimSuffix(p.path(), string(p.leaf().Name())) + string(one.Name())
		_, found := at(c.Check(p.without()), path)
		assert.Equal(t, strings.Contains(comments[one.FullName()], "Exactly one"), found, "Check without any of %s, comment %q", one.FullName(), comments[one.FullName()])
		rule, _ := proto.GetExtension(one.Options(), validate.E_Oneof).(*validate.OneofRules)
		assert.Equal(t, strings.Contains(comments[one.FullName()], "Exactly one"), rule.GetRequired(), "%s", one.FullName())
	}
}

// TestSuffixes holds the names of numbers to the closed list of units.
func TestSuffixes(t *testing.T) {
	unitless := map[protoreflect.FullName]string{
		"keepclear.v1.Drag.axis1":       "in the unit that the rig file names",
		"keepclear.v1.Drag.axis2":       "in the unit that the rig file names",
		"keepclear.v1.Finding.limit":    "in the unit of the fact",
		"keepclear.v1.Fact.number":      "in the unit of its name",
		"keepclear.v1.Limit.value":      "in the unit of its name",
		"keepclear.v1.Limit.bound":      "in the unit of its name",
		"keepclear.v1.WhatIf.value":     "in the unit of its key",
		"keepclear.v1.FileChange.value": "likewise",
	}
	unused := map[protoreflect.FullName]bool{}
	for n := range unitless {
		unused[n] = true
	}
	for _, fd := range allDoubles() {
		if _, ok := unitless[fd.FullName()]; ok {
			delete(unused, fd.FullName())
			continue
		}
		assert.NotEmpty(t, unitOf(fd), "%s has no unit as suffix", fd.FullName())
		assert.True(t, fd.HasPresence(), "%s cannot tell 0 from absent", fd.FullName())
	}
	assert.Empty(t, unused, "exceptions that match no field")
}

// allDoubles returns every double of the API, replies too.
func allDoubles() []protoreflect.FieldDescriptor {
	var out []protoreflect.FieldDescriptor
	seen := map[protoreflect.FullName]bool{}
	var visit func(m protoreflect.MessageDescriptor)
	visit = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			fd := m.Fields().Get(i)
			if fd.Kind() == protoreflect.DoubleKind {
				out = append(out, fd)
			}
			if fd.Message() != nil {
				visit(fd.Message())
			}
		}
	}
	for _, s := range services() {
		for i := range s.Methods().Len() {
			visit(s.Methods().Get(i).Input())
			visit(s.Methods().Get(i).Output())
		}
	}
	return out
}

// services returns the services of the API.
func services() []protoreflect.ServiceDescriptor {
	var out []protoreflect.ServiceDescriptor
	seen := map[protoreflect.FullName]bool{}
	for _, r := range Requests() {
		list := r.ParentFile().Services()
		for i := range list.Len() {
			if s := list.Get(i); !seen[s.FullName()] {
				seen[s.FullName()] = true
				out = append(out, s)
			}
		}
	}
	return out
}
