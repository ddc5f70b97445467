package wire

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// The smallest useful questions and their full forms, as a program would send them. All figures are invented.
const (
	smallestSlew = `{"requestId": "0b0f6a52-8c1e-4a53-9f0e-5d6f3f4f7a11", "rig": "heron",
  "action": {"slew": {"sky": {"raDeg": 38.20, "decDeg": 61.45, "frame": "SKY_FRAME_ICRS"}, "trackDuration": "600s"}},
  "sample": {"time": "2026-11-14T18:02:11.2Z",
    "belief": {"sky": {"raDeg": 37.71, "decDeg": 88.90, "frame": "SKY_FRAME_OF_DATE"}},
    "motion": "MOTION_AT_REST", "mountLstDeg": 335.4}}`
	smallestSync = `{"requestId": "c0c7a2de-5e0f-4b57-8d0a-95c9d6a0a9f2", "rig": "heron",
  "action": {"sync": {"solve": {"sky": {"raDeg": 38.95, "decDeg": 60.20, "frame": "SKY_FRAME_ICRS"},
    "exposureStartTime": "2026-11-14T18:04:31Z", "exposureDuration": "5s",
    "pixelArcsec": 1.55, "fieldWidthDeg": 1.79, "rotationDeg": 92.4, "mirrored": false,
    "matchedCount": 61, "residualArcsec": 0.8, "searchRadiusDeg": 180}}},
  "sample": {"time": "2026-11-14T18:04:38Z",
    "belief": {"sky": {"raDeg": 38.72, "decDeg": 61.56, "frame": "SKY_FRAME_OF_DATE"}},
    "motion": "MOTION_TRACKING", "mountLstDeg": 336.0}}`
	fullSlew = `{"requestId": "0b0f6a52-8c1e-4a53-9f0e-5d6f3f4f7a11", "rig": "heron",
  "action": {"slew": {"sky": {"raDeg": 38.20, "decDeg": 61.45, "frame": "SKY_FRAME_ICRS"}, "side": "TUBE_SIDE_WEST", "trackDuration": "600s"}},
  "sentTime": "2026-11-14T18:02:11.4Z", "asker": "night-plan 3.1 at ridge", "attendedBy": "M. Aster",
  "replacesPermitId": "p-20261114-180001-1", "beginLater": true,
  "sample": {"time": "2026-11-14T18:02:11.2Z", "sequence": "4711",
    "belief": {"sky": {"raDeg": 37.71, "decDeg": 88.90, "frame": "SKY_FRAME_OF_DATE"}, "side": "TUBE_SIDE_EAST"},
    "motion": "MOTION_AT_REST", "mountLstDeg": 335.4, "mountSite": {"latDeg": 47.1, "lonDeg": 9.4},
    "readings": [
      {"source": "POSE_SOURCE_AXIS_ENCODER", "axes": {"axis1Deg": -92.4, "axis2Deg": 1.1}, "sigma": {"axis1Deg": 0.01, "axis2Deg": 0.01}},
      {"source": "POSE_SOURCE_MOTOR_COUNT", "axes": {"axis1Deg": -92.3, "axis2Deg": 1.2}}],
    "homingId": "h-20261114-1", "parts": [{"part": "dew shield", "name": "out"}, {"part": "focuser", "travelMm": 12.5}],
    "drag": {"axis1": 0.4, "axis2": 0.3}, "runMark": "boot 77", "syncCount": 3}}`
)

// parse reads a question from JSON.
func parse(t testing.TB, text string) *keepclearv1.AskRequest {
	t.Helper()
	q := &keepclearv1.AskRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(text), q))
	return q
}

func TestSmallestQuestionsPass(t *testing.T) {
	c := checker(t)
	for _, x := range []struct {
		name, text string
		most       int // bytes on the wire
	}{
		{"smallest slew", smallestSlew, 126},
		{"smallest sync", smallestSync, 200},
		{"full slew", fullSlew, 460},
	} {
		q := parse(t, x.text)
		raw, err := proto.Marshal(q)
		require.NoError(t, err)
		read := &keepclearv1.AskRequest{}
		assert.Empty(t, c.Decode(raw, read), "faults of the %s", x.name)
		assert.True(t, proto.Equal(q, read), "the %s comes back changed", x.name)
		assert.LessOrEqual(t, len(raw), x.most, "bytes of the %s", x.name)
		t.Logf("%s: %d bytes", x.name, len(raw))
	}
}

// TestKnowledgeMayBeAbsent takes each piece of knowledge out of the full question: none may be refused for lacking it.
func TestKnowledgeMayBeAbsent(t *testing.T) {
	c := checker(t)
	for name, drop := range map[string]func(*keepclearv1.AskRequest){
		"side":         func(q *keepclearv1.AskRequest) { q.GetAction().GetSlew().Side = nil },
		"sample":       func(q *keepclearv1.AskRequest) { q.Sample = nil },
		"sample.time":  func(q *keepclearv1.AskRequest) { q.GetSample().Time = nil },
		"belief":       func(q *keepclearv1.AskRequest) { q.GetSample().Belief = nil },
		"belief.side":  func(q *keepclearv1.AskRequest) { q.GetSample().GetBelief().Side = nil },
		"motion":       func(q *keepclearv1.AskRequest) { q.GetSample().Motion = nil },
		"readings":     func(q *keepclearv1.AskRequest) { q.GetSample().Readings = nil },
		"lst":          func(q *keepclearv1.AskRequest) { q.GetSample().MountLstDeg = nil },
		"site":         func(q *keepclearv1.AskRequest) { q.GetSample().MountSite = nil },
		"homing":       func(q *keepclearv1.AskRequest) { q.GetSample().HomingId = "" },
		"run mark":     func(q *keepclearv1.AskRequest) { q.GetSample().RunMark = "" },
		"parts":        func(q *keepclearv1.AskRequest) { q.GetSample().Parts = nil },
		"drag":         func(q *keepclearv1.AskRequest) { q.GetSample().Drag = nil },
		"sequence":     func(q *keepclearv1.AskRequest) { q.GetSample().Sequence = nil },
		"sent time":    func(q *keepclearv1.AskRequest) { q.SentTime = nil },
		"asker":        func(q *keepclearv1.AskRequest) { q.Asker = "" },
		"attended by":  func(q *keepclearv1.AskRequest) { q.AttendedBy = "" },
		"replaces":     func(q *keepclearv1.AskRequest) { q.ReplacesPermitId = "" },
		"begin later":  func(q *keepclearv1.AskRequest) { q.BeginLater = false },
		"whole sample": func(q *keepclearv1.AskRequest) { q.Sample = &keepclearv1.Sample{} },
	} {
		q := parse(t, fullSlew)
		drop(q)
		assert.Empty(t, c.Check(q), "faults without %s", name)
	}
}

// TestWhatIsAskedMustBeThere takes out each part of the intent: every one is named, with its remedy.
func TestWhatIsAskedMustBeThere(t *testing.T) {
	c := checker(t)
	empty := c.Check(&keepclearv1.AskRequest{})
	assert.Equal(t, []string{
		"action: wanted an Action, got nothing; say what is asked: a slew, a sync, and so on",
		"request_id: wanted a text like [A-Za-z0-9_-]{16,64}, got nothing; send a new random UUID, and the same one whenever this request is repeated",
		"rig: wanted a text like [a-z][a-z0-9-]{0,62}, got nothing; send the rig's id as ListRigs gives it",
	}, sentences(empty))
	q := parse(t, smallestSlew)
	q.GetAction().GetSlew().TrackDuration = nil
	q.GetAction().GetSlew().GetSky().RaDeg = proto.Float64(360)
	q.GetAction().GetSlew().GetSky().Frame = 0
	q.Rig = "Heron\n"
	assert.Equal(t, []string{
		"action.slew.sky.frame: wanted one of SKY_FRAME_ICRS, SKY_FRAME_OF_DATE, got nothing; say whether the position is ICRS (J2000) or of date: they differ by a third of a degree",
		"action.slew.sky.ra_deg: wanted a number in [0, 360) degrees, got 360; send right ascension in degrees, not hours, reduced to one turn",
		"action.slew.track_duration: wanted a duration in [0 s, 86400 s], got nothing; say how long to track afterwards; \"0s\" stops there",
		`rig: wanted one line without control characters, got "Heron\n"; take out line breaks, NULs and the like`,
	}, sentences(c.Check(q)))
	track := &keepclearv1.AskRequest{Action: &keepclearv1.Action{Kind: &keepclearv1.Action_Track{Track: &keepclearv1.Track{End: &keepclearv1.Track_TrackDuration{TrackDuration: durationpb.New(0)}}}}}
	f, _ := at(c.Check(track), "action.track.track_duration")
	assert.Equal(t, "action.track.track_duration: wanted a duration in (0 s, 86400 s], got 0 s; say for how long to track, or until when", f.String(), "0 s stops after a slew; a track of 0 s is none")
	slew := &keepclearv1.AskRequest{Action: &keepclearv1.Action{Kind: &keepclearv1.Action_Slew{Slew: &keepclearv1.Slew{}}}}
	f, _ = at(c.Check(slew), "action.slew.target")
	assert.Equal(t, "action.slew.target: wanted exactly one of sky, axes, got none; send the one that is meant", f.String())
	for path, json := range map[string]string{
		"action.jog.by.axis1_deg: wanted a number in [-3600, 3600] degrees, got nothing; send degrees for both axes; of a jog 0 for the one that rests":                         `{"action": {"jog": {"by": {"axis2Deg": 5}}}}`,
		"action.jog.by: wanted an AxisPair, got nothing; send it, with what it requires":                                                                                        `{"action": {"jog": {}}}`,
		"action.sync.solve: wanted a Solve, got nothing; send what the solver found: where the picture's centre is, when and how long it was exposed, and the solver's figures": `{"action": {"sync": {}}}`,
	} {
		f, _ := at(c.Check(parse(t, json)), strings.SplitN(path, ":", 2)[0])
		assert.Equal(t, path, f.String())
	}
}

// sentences returns the faults as people read them.
func sentences(fs Faults) []string {
	out := make([]string, len(fs))
	for i, f := range fs {
		out[i] = f.String()
	}
	return out
}

// TestWhatJSONLetsThrough holds the guard against the one way in which text brings in what is no number.
func TestWhatJSONLetsThrough(t *testing.T) {
	q := parse(t, `{"requestId": "0b0f6a52-8c1e-4a53-9f0e-5d6f3f4f7a11", "rig": "heron",
  "action": {"slew": {"sky": {"raDeg": "NaN", "decDeg": "Infinity", "frame": "SKY_FRAME_ICRS"}, "trackDuration": "0s"}}}`)
	fs := checker(t).Check(q)
	assert.Equal(t, []string{"action.slew.sky.dec_deg", "action.slew.sky.ra_deg"}, []string{fs[0].Path, fs[1].Path})
}

func BenchmarkDecodeSlew(b *testing.B) {
	c := checker(b)
	raw, err := proto.Marshal(parse(b, fullSlew))
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if fs := c.Decode(raw, &keepclearv1.AskRequest{}); len(fs) > 0 {
			b.Fatal(fs)
		}
	}
}
