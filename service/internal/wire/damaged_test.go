package wire

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// TestCutShort cuts a question at every byte: what is left is whole and lacks something, or is refused. Never a panic, never
// the whole question.
func TestCutShort(t *testing.T) {
	c := checker(t)
	whole := parse(t, smallestSlew)
	raw, err := proto.Marshal(whole)
	require.NoError(t, err)
	for n := range raw {
		read := &keepclearv1.AskRequest{}
		if fs := c.Decode(raw[:n], read); len(fs) == 0 {
			assert.False(t, proto.Equal(whole, read), "cut at %d of %d reads as the whole", n, len(raw))
		}
	}
}

// TestJunkIsBounded sends as many unknown fields as fit: the list of faults stays short and says that there are more.
func TestJunkIsBounded(t *testing.T) {
	junk := protowire.AppendVarint(protowire.AppendTag(nil, 100, protowire.VarintType), 1)
	var raw []byte
	for n := protowire.Number(100); len(raw) < defaultMaxBytes-8; n++ {
		raw = protowire.AppendVarint(protowire.AppendTag(raw, n, protowire.VarintType), 1)
	}
	for name, bytes := range map[string][]byte{"different": raw, "the same": bytes.Repeat(junk, defaultMaxBytes/len(junk))} {
		fs := checker(t).Decode(bytes, &keepclearv1.AskRequest{})
		assert.LessOrEqual(t, len(fs), maxFaults, "%s", name)
		assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN, fs.Reason(), "%s", name)
	}
	fs := checker(t).Decode(raw, &keepclearv1.AskRequest{})
	assert.Equal(t, "mend those named and send it again", fs[len(fs)-1].Remedy, "the last fault says that there are more")
}

// TestNestedGroups sends groups inside each other, which no message of ours has, deeper than any stack should go.
func TestNestedGroups(t *testing.T) {
	raw := bytes.Repeat(protowire.AppendTag(nil, 77, protowire.StartGroupType), 60_000)
	fs := checker(t).Decode(raw, &keepclearv1.AskRequest{})
	assert.NotEmpty(t, fs, "60,000 open groups")
}

func TestTimesThatAreNone(t *testing.T) {
	c := checker(t)
	for _, x := range []struct {
		time   *timestamppb.Timestamp
		length *durationpb.Duration
		paths  []string
	}{
		{&timestamppb.Timestamp{Nanos: 1_000_000_000}, nil, []string{"sent_time"}},
		{&timestamppb.Timestamp{Nanos: -1}, nil, []string{"sent_time"}},
		{&timestamppb.Timestamp{Seconds: -62135596801}, nil, []string{"sent_time"}},
		{&timestamppb.Timestamp{Seconds: 253402300800}, nil, []string{"sent_time"}},
		{&timestamppb.Timestamp{Seconds: -62135596800}, nil, nil},
		{&timestamppb.Timestamp{Seconds: 253402300799, Nanos: 999_999_999}, nil, nil},
		{nil, &durationpb.Duration{Seconds: 1, Nanos: -1}, []string{"action.track.track_duration"}},
		{nil, &durationpb.Duration{Seconds: math.MaxInt64}, []string{"action.track.track_duration"}},
		{nil, &durationpb.Duration{}, []string{"action.track.track_duration"}},
		{nil, &durationpb.Duration{Nanos: 1}, nil},
		{nil, &durationpb.Duration{Seconds: 86400}, nil},
		{nil, &durationpb.Duration{Seconds: 86400, Nanos: 1}, []string{"action.track.track_duration"}},
	} {
		track := &keepclearv1.Track{End: &keepclearv1.Track_TrackDuration{TrackDuration: x.length}}
		if x.length == nil {
			track.End = &keepclearv1.Track_UntilTime{UntilTime: timestamppb.New(timestamppb.Now().AsTime())}
		}
		q := &keepclearv1.AskRequest{
			RequestId: "0123456789abcdef", Rig: "heron", SentTime: x.time,
			Action: &keepclearv1.Action{Kind: &keepclearv1.Action_Track{Track: track}},
		}
		var paths []string
		for _, f := range c.Check(q) {
			paths = append(paths, f.Path)
		}
		assert.Equal(t, x.paths, paths, "time %v, length %v", x.time, x.length)
	}
}

// TestWithdrawIsNeverRefused sends a withdrawal in every damaged shape: it reads what is plain, and means all where it is not.
func TestWithdrawIsNeverRefused(t *testing.T) {
	c := checker(t)
	plain := lengthened(1, []byte("heron"))
	future := protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1)
	for _, x := range []struct {
		name string
		raw  []byte
		rig  string
	}{
		{"plain", plain, "heron"},
		{"empty", nil, ""},
		{"unknown field", append(append([]byte{}, future...), plain...), "heron"},
		{"cut short after the rig", append(append([]byte{}, plain...), 0x12, 0x20, 'a'), "heron"},
		{"cut short in the rig", plain[:4], ""},
		{"two rigs", append(lengthened(1, []byte("wren")), plain...), ""},
		{"no UTF-8", lengthened(1, []byte{0xff}), ""},
		{"junk", bytes.Repeat([]byte{0xff}, 99), ""},
		{"asker not in UTF-8", append(lengthened(2, []byte{0xff, '\n'}), plain...), "heron"},
	} {
		w := &keepclearv1.WithdrawRequest{}
		assert.Empty(t, c.Decode(x.raw, w), "%s", x.name)
		assert.Equal(t, x.rig, w.GetRig(), "%s: rig", x.name)
		assert.True(t, utf8.ValidString(w.GetAsker()) && !strings.ContainsFunc(w.GetAsker(), unprintable), "%s: asker %q", x.name, w.GetAsker())
		assert.Empty(t, c.Check(w), "%s", x.name)
	}
}

// TestGlimpse reads whose a damaged report is.
func TestGlimpse(t *testing.T) {
	desc := (&keepclearv1.ReportRequest{}).ProtoReflect().Descriptor()
	raw, err := proto.Marshal(&keepclearv1.ReportRequest{RequestId: "0123456789abcdef", Rig: "heron", Asker: "plan"})
	require.NoError(t, err)
	want := Whose{"0123456789abcdef", "heron", "plan"}
	assert.Equal(t, want, Glimpse(raw, desc))
	assert.Equal(t, want, Glimpse(append(raw, 0xff), desc), "damaged behind")
	assert.Equal(t, Whose{}, Glimpse([]byte{0xff}, desc), "damaged before")
	assert.Equal(t, Whose{Rig: "heron"}, Glimpse(append(lengthened(1, []byte("a\nb")), lengthened(2, []byte("heron"))...), desc), "an id that breaks a line")
	assert.Equal(t, Whose{}, Glimpse(raw, (&keepclearv1.ListRigsRequest{}).ProtoReflect().Descriptor()), "a request without those fields")
}

// FuzzDecode throws bytes at every request. Never a panic; faults are few, whole and of one line; what passes stays passed when it
// is written and read again.
func FuzzDecode(f *testing.F) {
	c := checker(f)
	requests := Requests()
	for i, r := range requests {
		if raw, err := proto.Marshal(fattestOf(r)); err == nil && len(raw) < 4096 {
			f.Add(byte(i), raw)
		}
	}
	for _, text := range []string{smallestSlew, smallestSync, fullSlew} {
		raw, err := proto.Marshal(parse(f, text))
		require.NoError(f, err)
		f.Add(byte(0), raw)
		f.Add(byte(0), raw[:len(raw)/2])
		f.Add(byte(0), append(raw, raw...))
	}
	f.Add(byte(1), []byte{0x0b, 0x0c, 0xff})
	f.Fuzz(func(t *testing.T, which byte, raw []byte) {
		r := requests[int(which)%len(requests)]
		msg := newRequest(r)
		faults := c.Decode(raw, msg)
		require.LessOrEqual(t, len(faults), maxFaults)
		for _, fault := range faults {
			require.False(t, strings.ContainsFunc(fault.String(), unprintable), "fault %q is no one line", fault)
			require.Less(t, len(fault.String()), 1000, "fault %q is too long", fault)
			require.NotEmpty(t, fault.Wanted+fault.Got, "fault %q says nothing", fault)
			require.NotZero(t, fault.Reason, "fault %q has no reason", fault)
			require.NotEmpty(t, fault.Remedy, "fault %q has no remedy", fault)
		}
		if len(faults) > 0 {
			return
		}
		again, err := proto.Marshal(msg)
		require.NoError(t, err)
		read := newRequest(r)
		require.Empty(t, c.Decode(again, read), "what passed does not pass when it is written again")
		if r.Name() != "WithdrawRequest" {
			require.True(t, proto.Equal(msg, read), "what passed is read differently when it is written again")
		}
	})
}
