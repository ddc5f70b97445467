package decide

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/timescale"
)

// fits finds what of a question contradicts itself or does not fit the rig: names that the file does not have, a side that the
// mount kind does not have, instants that cannot be. Instants are held against the asker's clock where ours says otherwise: the question is
// held for that, and is sound again once the clock is set right.
func fits(r *rig.Rig, q question.Question) error {
	q.At = facts.AskedAt(q)
	faults := ActionFits(r, q.Action, q.At, "action")
	add := func(path, wanted, got, remedy string) { faults = append(faults, FieldFault{path, wanted, got, remedy}) }
	if q.Action.Solve != nil {
		solveFits(r, q, add)
	}
	sampleFits(r, q.Sample, "sample", add)
	if len(faults) > 0 {
		return &ConflictError{faults}
	}
	return nil
}

// ActionFits finds what of an action does not fit the rig, or the instant at which it would begin at the earliest. path is that of the
// action in its request.
func ActionFits(r *rig.Rig, a question.Action, at time.Time, path string) (faults []FieldFault) {
	add := func(field, wanted, got, remedy string) {
		faults = append(faults, FieldFault{path + "." + field, wanted, got, remedy})
	}
	sideFits(r, "slew.side", a.Side, add)
	if a.Kind == question.Flip && r.Kind != rig.German {
		remedy := "ask for a slew to the second side instead"
		if r.Mount.Chooses == rig.FirstOnly {
			remedy = "leave flips out: the rig file says that this mount uses its first side only"
		}
		add("flip", "a German equatorial", string(r.Kind), remedy)
	}
	if a.Kind == question.Park {
		restFits(r, a.Place, add)
	}
	if a.Until != nil && !a.Until.After(at) {
		add("track.until_time", "an instant after its start, "+at.UTC().Format(time.RFC3339), a.Until.UTC().Format(time.RFC3339), "ask for a later end")
	}
	if a.Until != nil && a.Until.Sub(at) > 24*time.Hour {
		add("track.until_time", "at most 24 h ahead", a.Until.UTC().Format(time.RFC3339), "ask for a shorter stretch")
	}
	return faults
}

// sideFits finds a side that the mount kind does not have; none is every side.
func sideFits(r *rig.Rig, path string, s rig.Side, add func(path, wanted, got, remedy string)) {
	sides := r.Kind.Sides()
	if s != "" && s != sides[0] && s != sides[1] {
		add(path, fmt.Sprintf("%s or %s, the sides that a mount of the kind %s has", sides[0], sides[1], r.Kind), string(s), "name a side that this mount has, or leave it out")
	}
}

func solveFits(r *rig.Rig, q question.Question, add func(path, wanted, got, remedy string)) {
	v := q.Action.Solve
	if _, ok := r.OpticsNamed(v.Optics); !ok && (v.Optics != "" || len(r.Optics) > 1) {
		var names []string
		for _, o := range r.Optics {
			names = append(names, o.Name)
		}
		add("action.sync.solve.optics", "one of "+strings.Join(names, ", "), quoted(v.Optics), "name the optics of the rig file that the picture came through")
	}
	if mid, ok := v.Middle(); ok && mid.After(q.At.Add(10*time.Minute)) {
		add("action.sync.solve.exposure_start_time", "a mid-exposure that is past", mid.UTC().Format(time.RFC3339), "check the camera's clock and action.sync.solve.exposure_duration"+orNothing(timescale.LikelyHours(mid.Sub(q.At))))
		add("action.sync.solve.exposure_duration", "a mid-exposure that is past", v.Exposure.String(), "check it with action.sync.solve.exposure_start_time: one of the two is wrong, or a clock is")
	}
	sampleFits(r, v.Mid, "action.sync.solve.mid_exposure", add)
	if v.Mid != nil && !v.Mid.Time.IsZero() && !v.Start.IsZero() {
		if d := v.Mid.Time.Sub(v.Start); d < -time.Minute || d > v.Exposure+time.Minute {
			add("action.sync.solve.mid_exposure.time", "an instant within the exposure", v.Mid.Time.UTC().Format(time.RFC3339), "send the sample nearest mid-exposure, or leave it out")
		}
	}
}

// reportFits finds what of a report's sample does not fit the rig. Taken in, a part that is not there or a state that it has not would be nothing, and
// who told it would believe that it counts: a permit that goes by the part would go on. A report that bears an event is not refused for it, for what happened
// has happened: see fitting.
func reportFits(r *rig.Rig, s *question.Sample) error {
	var faults []FieldFault
	sampleFits(r, s, "sample", func(path, wanted, got, remedy string) { faults = append(faults, FieldFault{path, wanted, got, remedy}) })
	if len(faults) > 0 {
		return &ConflictError{faults}
	}
	return nil
}

// fitting is a sample beside an event without what does not fit the rig: a part that is not there and a side that the mount kind has not count as not told. A part in a
// state that it has not stays: it takes up all of them, and a permit that goes by one of them is taken back.
func fitting(r *rig.Rig, s question.Sample) *question.Sample {
	s.Parts = slices.DeleteFunc(slices.Clone(s.Parts), func(p rig.PartState) bool {
		return !slices.ContainsFunc(r.Parts, func(x rig.Part) bool { return x.Name == p.Part })
	})
	if sides := r.Kind.Sides(); s.Belief != nil && !slices.Contains(sides[:], s.Belief.Side) {
		b := *s.Belief
		b.Side = ""
		s.Belief = &b
	}
	return &s
}

// leftOut says that what does not fit the rig was left out of a sample whose event was taken in.
func leftOut(asker string, misfits error) pose.Notice {
	return pose.Notice{Kind: pose.Ignored, About: []string{asker}, Sentence: fmt.Sprintf("of the sample of %s beside the event what does not fit the rig was left out: %v", nameOr(asker), misfits)}
}

// sampleFits finds a side, a part or a state of one that the rig does not have. at is the path of the sample in its request.
func sampleFits(r *rig.Rig, s *question.Sample, at string, add func(path, wanted, got, remedy string)) {
	if s == nil {
		return
	}
	if s.Belief != nil {
		sideFits(r, at+".belief.side", s.Belief.Side, add)
	}
	for i, p := range s.Parts {
		n := slices.IndexFunc(r.Parts, func(x rig.Part) bool { return x.Name == p.Part })
		switch {
		case n < 0:
			add(fmt.Sprintf("%s.parts[%d].part", at, i), "a part of the rig file", quoted(p.Part), "name a part as the rig file does")
		case p.Measure == nil && r.StateUnknown(p): // it would count as all of them; what is measured may lie a little beyond what the file has
			add(fmt.Sprintf("%s.parts[%d].name", at, i), "one of "+r.Parts[n].StateWords(), quoted(p.Name), "tell a state as the rig file does, or leave it out: the part then takes up all of them")
		}
	}
}

// restFits finds a place of rest that the rig file does not have; none is its only one.
func restFits(r *rig.Rig, place string, add func(path, wanted, got, remedy string)) {
	if _, ok := r.Rest(place); ok {
		return
	}
	if len(r.Rests) == 0 {
		add("park.place", "a place of rest in the rig file", "none there", "write one under rests in the rig file, or ask for a slew to the angles of home")
		return
	}
	var names []string
	for _, p := range r.Rests {
		names = append(names, quoted(p.Name))
	}
	add("park.place", "one of "+strings.Join(names, ", "), quoted(place), "name a place of rest of the rig file")
}

// orNothing appends a remark where there is one.
func orNothing(remark string) string {
	if remark == "" {
		return ""
	}
	return "; it " + remark
}

func quoted(s string) string { return fmt.Sprintf("%q", s) }
