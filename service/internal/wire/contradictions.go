package wire

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// clash is two or more fields of one message that cannot both be meant, or one that another needs.
type clash struct{ field, wanted, got, remedy string }

// contradiction is one check across the fields of a message. None needs a rig, a clock or the past: those are the domain's.
type contradiction struct {
	title string // for tests and for people
	find  func(proto.Message) []clash
}

// checks lists every contradiction that is looked for. Nothing writes it.
var checks = []contradiction{
	{"a report says something", on(emptyReport)},
	{"an event has a request id", on(eventWithoutID)},
	{"a begin has a sample", on(beginWithoutSample)},
	{"a person saw an attested homing", on(attestedByNobody)},
	{"a source reads once", on(sourceTwice)},
	{"a part has one state", on(partTwice)},
	{"the long side is the long one", on(fieldTurned)},
	{"a filter's interval goes forward", on(intervalReversed)},
	{"a chain is followed from one place", on(chainTwice)},
	{"a sync cannot be rehearsed", on(syncRehearsed)},
	{"rehearsed steps go forward", on(stepsBackward)},
	{"uncertainty belongs to stated axes", on(sigmaWithoutAxes)},
}

// contradictions returns the faults of one message, not of those inside it.
func contradictions(at *trail, m proto.Message) Faults {
	var out Faults
	for _, c := range checks {
		for _, x := range c.find(m) {
			out = append(out, invalid(at.field(x.field), x.wanted, x.got, x.remedy)...)
		}
	}
	return out
}

// on makes a check of one message type; any other passes it.
func on[M proto.Message](find func(M) []clash) func(proto.Message) []clash {
	return func(m proto.Message) []clash {
		if own, ok := m.(M); ok {
			return find(own)
		}
		return nil
	}
}

func emptyReport(r *keepclearv1.ReportRequest) []clash {
	if r.GetSample() != nil || r.GetEvent() != nil {
		return nil
	}
	return []clash{{"sample", "a sample, an event, or both", "neither", "send the rig's sample or what happened"}}
}

func eventWithoutID(r *keepclearv1.ReportRequest) []clash {
	if r.GetEvent() == nil || r.GetRequestId() != "" {
		return nil
	}
	return []clash{{"request_id", "a request id with the event", "nothing", remedyRequestID}}
}

func beginWithoutSample(r *keepclearv1.ReportRequest) []clash {
	if r.GetBegin() == nil || r.GetSample() != nil {
		return nil
	}
	return []clash{{"sample", "a fresh sample with begin", "nothing", "read the mount and send what it says"}}
}

func attestedByNobody(h *keepclearv1.Homed) []clash {
	if h.GetBy() != keepclearv1.HomedBy_HOMED_BY_ATTESTED || h.GetPerson() != "" {
		return nil
	}
	return []clash{{"person", "the person who saw it, with by HOMED_BY_ATTESTED", "nothing", "name who stood at the rig"}}
}

func sourceTwice(s *keepclearv1.Sample) []clash {
	return twice(s.GetReadings(), "readings", "source", func(r *keepclearv1.AxisReading) string { return r.GetSource().String() })
}

func partTwice(s *keepclearv1.Sample) []clash {
	return twice(s.GetParts(), "parts", "part", (*keepclearv1.PartState).GetPart)
}

func chainTwice(r *keepclearv1.FollowEntriesRequest) []clash {
	return twice(r.GetAfter(), "after", "chain", (*keepclearv1.EntryPlace).GetChain)
}

// twice finds elements of a list that bear the same name as an earlier one.
func twice[E any](list []E, field, key string, name func(E) string) []clash {
	var out []clash
	first := map[string]int{}
	for i, e := range list {
		n := name(e)
		if j, seen := first[n]; seen && n != "" {
			out = append(out, clash{fmt.Sprintf("%s[%d].%s", field, i, key), "each once", fmt.Sprintf("%s, as in %s[%d]", shown(n), field, j),
				"send one of the two"})
			continue
		}
		first[n] = i
	}
	return out
}

func fieldTurned(s *keepclearv1.Solve) []clash {
	if s.FieldWidthDeg == nil || s.FieldHeightDeg == nil || s.GetFieldHeightDeg() <= s.GetFieldWidthDeg() {
		return nil
	}
	got := number(s.GetFieldHeightDeg()) + " with field_width_deg " + number(s.GetFieldWidthDeg())
	return []clash{{"field_height_deg", "the short side, at most field_width_deg", got, "exchange the two"}}
}

func intervalReversed(f *keepclearv1.EntryFilter) []clash {
	from, before := f.GetFromTime(), f.GetBeforeTime()
	if from == nil || before == nil || from.AsTime().Before(before.AsTime()) {
		return nil
	}
	got := stamp(before.AsTime()) + " with from_time " + stamp(from.AsTime())
	return []clash{{"before_time", "an instant later than from_time", got, "exchange the two, or leave one out"}}
}

func syncRehearsed(s *keepclearv1.RehearsalStep) []clash {
	if s.GetAction().GetSync() == nil {
		return nil
	}
	return []clash{{"action", "a motion", "a sync", "leave syncs out: their evidence does not exist yet"}}
}

func stepsBackward(r *keepclearv1.RehearseRequest) []clash {
	var out []clash
	var last time.Time
	for i, s := range r.GetSteps() {
		if s.GetStartTime() == nil {
			continue
		}
		t := s.GetStartTime().AsTime()
		if t.Before(last) {
			out = append(out, clash{fmt.Sprintf("steps[%d].start_time", i), "an instant not before " + stamp(last) + ", an earlier step's",
				stamp(t), "put the steps in the order in which they happen"})
			continue
		}
		last = t
	}
	return out
}

func sigmaWithoutAxes(r *keepclearv1.RehearseRequest) []clash {
	if r.GetStartSigma() == nil || r.GetStartAxes() != nil {
		return nil
	}
	return []clash{{"start_sigma", "start_axes beside it", "none", "state start_axes too, or leave start_sigma out"}}
}

// stamp returns an instant as it stands in messages.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
