package wire

import (
	"math"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Answer turns an answer into its response. Receipt is left out where the answer has none yet: the record keeps it so.
func Answer(a decide.Answer, r *rig.Rig, withFacts bool) *pb.AskResponse {
	out := &pb.AskResponse{Judgement: judgement(a, withFacts)}
	switch {
	case a.Permit != nil:
		out.Leave = &pb.AskResponse_Permit{Permit: Permit(a.Permit, r, a.Limits)}
	case a.Leave != nil:
		out.Leave = &pb.AskResponse_SyncLeave{SyncLeave: SyncLeave(a.Leave)}
	}
	if a.Receipt.Place.Number > 0 {
		out.Receipt = Receipt(a.Receipt)
	}
	return out
}

// Again brings a recorded response up to date: its leave as it stands now, and its receipt.
func Again(stored *pb.AskResponse, a decide.Answer, r *rig.Rig) *pb.AskResponse {
	switch {
	case a.Permit != nil:
		stored.Leave = &pb.AskResponse_Permit{Permit: Permit(a.Permit, r, a.Limits)}
	case a.Leave != nil:
		stored.Leave = &pb.AskResponse_SyncLeave{SyncLeave: SyncLeave(a.Leave)}
	default:
		stored.Leave = nil
	}
	stored.Receipt = Receipt(a.Receipt)
	stored.Receipt.TookDuration = nil // of the first time, which nobody measured for this reply
	return stored
}

func judgement(a decide.Answer, withFacts bool) *pb.Judgement {
	out := &pb.Judgement{
		Verdict: verdicts[a.Verdict], Sentence: a.Sentence, StopTracking: a.StopTracking, Notes: a.Notes,
		HarmlessUntil: deadline(a.HarmlessUntil, a.Sent), Closest: clearance(a.Closest),
	}
	out.Findings = findings(a.Findings)
	for _, n := range a.Needs {
		out.Needs = append(out.Needs, need(n, a.At, a.Sent))
	}
	for _, x := range a.Instead {
		out.AskInstead = append(out.AskInstead, ActionOf(x))
	}
	for _, x := range a.Stops {
		out.Stops = append(out.Stops, &pb.Stop{Step: uint32(x.Step), MountSky: sky(x.Sky), Side: sides[x.Side], ValidTime: timestamppb.New(x.At)})
	}
	for _, e := range a.Ends {
		out.Ends = append(out.Ends, end(e))
	}
	if withFacts {
		out.Facts = Facts(a.Facts)
	}
	return out
}

// Facts turns a set of facts into messages, by name.
func Facts(set facts.Set) []*pb.Fact {
	var out []*pb.Fact
	for _, name := range set.Names() {
		f := set[name]
		m := &pb.Fact{Name: name, Origin: origins[f.Origin], About: f.About, InstantTime: stampOf(f.Instant), SuppliedBy: needs[verdict.NeedKind(f.Need)]}
		// Unproven stays unset: in this version what is crossed only under uncertainty is a fact of its own, beside the proven one.
		putValue(m, f.Number, f.Word, f.Truth, f.Missing)
		out = append(out, m)
	}
	return out
}

func putValue(m *pb.Fact, number *float64, word *string, truth *bool, missing string) {
	switch {
	case number != nil:
		m.Value = &pb.Fact_Number{Number: *number}
	case word != nil:
		m.Value = &pb.Fact_Word{Word: *word}
	case truth != nil:
		m.Value = &pb.Fact_Truth{Truth: *truth}
	default:
		m.Value = &pb.Fact_Missing{Missing: missing}
	}
}

// findings makes all of them in two pieces of memory: every answer has one of each rule, of which many name no fact.
func findings(list []verdict.Finding) []*pb.Finding {
	facts := 0
	for i := range list {
		if list[i].Fact != nil {
			facts++
		}
	}
	all, read, out := make([]pb.Finding, len(list)), make([]pb.Fact, facts), make([]*pb.Finding, len(list))
	for i := range list {
		out[i] = &all[i]
		if finding(&list[i], out[i]); list[i].Fact != nil {
			out[i].Fact, read = &read[0], read[1:]
			factOf(&list[i], out[i])
		}
	}
	return out
}

// finding fills an empty message, but for its fact. It leaves reads unset: which pose, belief or clock a number was read from stands in its
// rule's description (ListRules).
func finding(f *verdict.Finding, out *pb.Finding) {
	out.RuleId, out.Effect, out.Code, out.Limit, out.Unit, out.About = f.Rule, effects[f.Effect], f.Code, f.Limit, f.Unit, f.About
	out.InstantTime, out.Sentence, out.Remedy = stampOf(f.Instant), f.Sentence, f.Remedy
}

// factOf fills the empty fact of a finding's message.
func factOf(f *verdict.Finding, out *pb.Finding) {
	read := out.Fact
	read.Name, read.Origin, read.About, read.InstantTime = f.Fact.Name, origins[f.Fact.Origin], f.About, out.InstantTime
	putValue(read, f.Fact.Number, f.Fact.Word, f.Fact.Truth, f.Fact.Missing)
}

// soon is when to ask again for what only takes more working time. Common practice, no source.
const soon = time.Second

// need says when to ask again only where waiting is all that is wanted; everything else somebody has to do first.
func need(n verdict.Need, at, sent time.Time) *pb.Need {
	out := &pb.Need{Kind: needs[n.Kind], Sentence: n.Sentence, About: n.About}
	if n.Kind == verdict.NeedTime {
		again := at.Add(soon)
		out.AskAgain = deadline(&again, sent)
	}
	return out
}

// ActionOf turns an action into its message.
func ActionOf(a question.Action) *pb.Action {
	follow := durationpb.New(a.Follow)
	switch a.Kind {
	case question.Slew, question.Retreat:
		s := &pb.Slew{TrackDuration: follow}
		if a.Axes != nil {
			s.Target = &pb.Slew_Axes{Axes: pair(*a.Axes)}
		} else if a.Sky != nil {
			s.Target = &pb.Slew_Sky{Sky: sky(*a.Sky)}
		}
		if n, ok := sides[a.Side]; ok {
			s.Side = &n
		}
		return &pb.Action{Kind: &pb.Action_Slew{Slew: s}}
	case question.Sync:
		s := &pb.Sync{Solve: solve(a.Solve)}
		if a.Given != nil {
			s.MountSky = sky(*a.Given)
		}
		return &pb.Action{Kind: &pb.Action_Sync{Sync: s}}
	case question.Track:
		if a.Until != nil {
			return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(*a.Until)}}}}
		}
		return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: follow}}}}
	case question.Jog:
		return &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: pair(*a.Axes), RateDegPerS: toDegrees(a.Rate), TrackDuration: follow}}}
	case question.Creep:
		c := &pb.Creep{Axis: 1, ByDeg: plainDegrees(a.Axes.A1), RateDegPerS: toDegrees(a.Rate)}
		if a.Axes.A2 != 0 {
			c.Axis, c.ByDeg = 2, plainDegrees(a.Axes.A2)
		}
		return &pb.Action{Kind: &pb.Action_Creep{Creep: c}}
	case question.Home:
		h := &pb.Home{}
		if n, ok := orders[a.Order]; ok {
			h.Order = &n
		}
		return &pb.Action{Kind: &pb.Action_Home{Home: h}}
	case question.Park:
		return &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: a.Place}}}
	case question.Flip:
		return &pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: follow}}}
	}
	return &pb.Action{}
}

// SampleOf turns a sample into its message; nil stays nil.
func SampleOf(s *question.Sample) *pb.Sample { return sample(s) }

// SolveOf turns a solve into its message.
func SolveOf(v *question.Solve) *pb.Solve { return solve(v) }

func solve(v *question.Solve) *pb.Solve {
	s := &pb.Solve{
		Sky: sky(v.Sky), Optics: v.Optics, PixelArcsec: toArcseconds(v.Pixel), FieldWidthDeg: toDegrees(v.Width), FieldHeightDeg: toDegrees(v.Height),
		RotationDeg: toDegrees(v.Rotation), Mirrored: v.Mirrored, ResidualArcsec: toArcseconds(v.Residual), SearchRadiusDeg: toDegrees(v.Radius),
		PictureId: v.Picture, MidExposure: sample(v.Mid),
	}
	if v.Hint != nil {
		s.Hint = sky(*v.Hint)
	}
	if !v.Start.IsZero() {
		s.ExposureStartTime = timestamppb.New(v.Start)
	}
	if v.Exposure > 0 {
		s.ExposureDuration = durationpb.New(v.Exposure)
	}
	if v.Matched != nil {
		n := uint32(*v.Matched)
		s.MatchedCount = &n
	}
	return s
}

func sample(s *question.Sample) *pb.Sample {
	if s == nil {
		return nil
	}
	out := &pb.Sample{Sequence: s.Sequence, MountLstDeg: toDegrees(s.Sidereal), HomingId: s.HomingID, RunMark: s.RunMark, SyncCount: s.SyncCount}
	if !s.Time.IsZero() {
		out.Time = timestamppb.New(s.Time)
	}
	if s.Belief != nil {
		out.Belief = &pb.Belief{Sky: sky(s.Belief.Sky)}
		if n, ok := sides[s.Belief.Side]; ok {
			out.Belief.Side = &n
		}
	}
	if n, ok := doings[s.Doing]; ok {
		out.Motion = &n
	}
	for _, r := range s.Readings {
		out.Readings = append(out.Readings, &pb.AxisReading{Source: sources[r.Source], Axes: pair(r.Axes), Sigma: sigmaOf(r.Sigma)})
	}
	if s.Site != nil {
		lat, lon := s.Site.Lat.Deg(), s.Site.Lon.Deg()
		out.MountSite = &pb.SitePoint{LatDeg: &lat, LonDeg: &lon}
	}
	for _, p := range s.Parts {
		out.Parts = append(out.Parts, partOf(p))
	}
	if s.Drag[0] != nil || s.Drag[1] != nil {
		out.Drag = &pb.Drag{Axis1: s.Drag[0], Axis2: s.Drag[1]}
	}
	return out
}

func partOf(p rig.PartState) *pb.PartState {
	out := &pb.PartState{Part: p.Part}
	switch {
	case p.Measure == nil:
		out.State = &pb.PartState_Name{Name: p.Name}
	case p.Unit == "mm":
		out.State = &pb.PartState_TravelMm{TravelMm: *p.Measure}
	default:
		out.State = &pb.PartState_AngleDeg{AngleDeg: *p.Measure}
	}
	return out
}

func end(e facts.End) *pb.PredictedEnd {
	out := &pb.PredictedEnd{Axes: pair(e.Axes), Side: sides[e.Side], Intended: e.Intended, Because: e.Because, Closest: clearance(e.Closest)}
	if c := e.Contact; c != nil {
		out.Contact = &pb.Contact{Parts: c.Parts[:], Turned: pair(c.Turned), AfterDuration: duration(c.AfterS)}
	}
	b := e.Believed
	for _, f := range []struct {
		name  string
		value float64
	}{{"believed_altitude_deg", b.AltitudeDeg}, {"believed_hour_angle_deg", b.HourDeg}, {"believed_axis1_deg", b.Axis1Deg}, {"believed_axis2_deg", b.Axis2Deg}} {
		if math.IsNaN(f.value) || math.IsInf(f.value, 0) {
			continue
		}
		out.Facts = append(out.Facts, &pb.Fact{Name: f.name, Value: &pb.Fact_Number{Number: f.value}, Origin: pb.Origin_ORIGIN_COMPUTED})
	}
	return out
}

func clearance(c *question.Clearance) *pb.Clearance {
	if c == nil {
		return nil
	}
	return &pb.Clearance{
		LowerMm: finiteOrNil(c.LowerMM), UpperMm: finiteOrNil(c.UpperMM), RequiredMm: finiteOrNil(c.RequiredMM),
		Parts: c.Parts[:], Axes: pair(c.Axes), InstantTime: stampOf(c.Instant),
	}
}

// finiteOrNil leaves out a bound that was not proven: numbers of the API are finite.
func finiteOrNil(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Permit turns a permit into its message. limits are those of the mount as last reported.
func Permit(p *question.Permit, r *rig.Rig, limits []question.MountLimit) *pb.Permit {
	if p == nil {
		return nil
	}
	out := &pb.Permit{
		PermitId: p.ID, RequestId: p.RequestID, Rig: p.Rig, Action: repeated(p.Action), Epoch: p.Epoch, State: permitStates[p.State],
		StartBy:  &pb.Deadline{WithinDuration: durationpb.New(max(0, p.StartWithin)), AtTime: timestamppb.New(p.StartBy)},
		StopBy:   &pb.Deadline{WithinDuration: durationpb.New(max(0, p.StopWithin)), AtTime: timestamppb.New(p.StopBy)},
		Critical: p.Critical, Asker: nameOr(p.Asker), EndedBecause: p.Because,
	}
	if p.FirstContact != nil {
		out.FirstContact = deadline(p.FirstContact, p.StartBy.Add(-p.StartWithin))
	}
	for _, l := range p.Legs {
		out.Legs = append(out.Legs, &pb.Leg{From: pair(l.From), To: pair(l.To), Closest: clearance(&l.Closest), Shape: shape(r.Motion.Sharing)})
	}
	if p.Tracks {
		box := facts.DitherBox.Arcsec()
		out.DitherTotalArcsec = &box
	}
	out.Fallback = fallback(r, p.Tracks, limits)
	return out
}

func shape(s rig.Sharing) pb.LegShape {
	switch s {
	case rig.Straight:
		return pb.LegShape_LEG_SHAPE_LINE
	case rig.Independent:
		return pb.LegShape_LEG_SHAPE_PROFILES
	case rig.Axis1First, rig.Axis2First, rig.AnyOrder:
	}
	return pb.LegShape_LEG_SHAPE_RECTANGLE
}

// fallback says what ends the motion if the asker dies. A motion that does not track ends by itself. A limit in the mount is shown as
// last seen: as a report told it, where that is later than the rig file's word.
func fallback(r *rig.Rig, tracks bool, limits []question.MountLimit) *pb.Fallback {
	if !tracks {
		return &pb.Fallback{Kind: pb.FallbackKind_FALLBACK_KIND_MOTION_ENDS}
	}
	f := &pb.Fallback{Kind: fallbacks[r.Stop.Kind]}
	if r.Stop.Kind == rig.MountLimit {
		last := question.MountLimit{Axis: r.Stop.Axis, Limit: r.Stop.Limit, Seen: r.Stop.Seen}
		for _, l := range limits {
			if l.Axis == last.Axis && l.Seen.After(last.Seen) {
				last = l
			}
		}
		limit := last.Limit.Deg()
		f.LimitDeg, f.Axis = &limit, uint32(last.Axis)
		if !last.Seen.IsZero() {
			f.SeenTime = timestamppb.New(last.Seen)
		}
	}
	return f
}

// repeated is the action as it came: degrees that have been radians are not the same to the last bit, and the client compares.
func repeated(a question.Action) *pb.Action {
	out := &pb.Action{}
	if err := proto.Unmarshal(a.Message, out); err != nil || len(a.Message) == 0 {
		return nil // a client reads a permit without its action as a hold
	}
	return out
}

// SyncLeave turns a sync leave into its message.
func SyncLeave(l *question.SyncLeave) *pb.SyncLeave {
	return &pb.SyncLeave{
		LeaveId: l.ID, RequestId: l.RequestID, Rig: l.Rig, Sync: repeated(l.Action).GetSync(), Epoch: l.Epoch,
		UseBy:    &pb.Deadline{WithinDuration: durationpb.New(max(0, l.UseWithin)), AtTime: timestamppb.New(l.UseBy)},
		Critical: l.Critical, Live: l.Live,
	}
}

// Receipt turns a receipt into its message.
func Receipt(r decide.Receipt) *pb.Receipt {
	return &pb.Receipt{Chain: r.Place.Chain, Number: r.Place.Number, EntrySha256: r.Place.Hash[:], RecordTime: timestamppb.New(r.Time), TookDuration: durationpb.New(max(0, r.Took))}
}

func sky(s question.Sky) *pb.SkyPosition {
	ra, dec := s.RA.Deg(), s.Dec.Deg()
	return &pb.SkyPosition{RaDeg: &ra, DecDeg: &dec, Frame: frames[s.Frame]}
}

func pair(a rig.Axes) *pb.AxisPair {
	one, two := a.A1.Deg(), a.A2.Deg()
	return &pb.AxisPair{Axis1Deg: &one, Axis2Deg: &two}
}

func sigmaOf(a *rig.Axes) *pb.AxisSigma {
	if a == nil {
		return nil
	}
	one, two := a.A1.Deg(), a.A2.Deg()
	return &pb.AxisSigma{Axis1Deg: &one, Axis2Deg: &two}
}

func toDegrees(a *unit.Angle) *float64 {
	if a == nil {
		return nil
	}
	d := a.Deg()
	return &d
}

// plainDegrees are degrees as a person would write them: without the last bits that a way through radians leaves.
func plainDegrees(a unit.Angle) *float64 {
	d := math.Round(a.Deg()*1e9) / 1e9
	return &d
}

func toArcseconds(a *unit.Angle) *float64 {
	if a == nil {
		return nil
	}
	d := a.Arcsec()
	return &d
}

// deadline is an instant as seen from the first sending; nil where there is none.
func deadline(at *time.Time, sent time.Time) *pb.Deadline {
	if at == nil {
		return nil
	}
	return &pb.Deadline{WithinDuration: durationpb.New(max(0, at.Sub(sent))), AtTime: timestamppb.New(*at)}
}

func stampOf(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}

// duration is nil for a time that is not known, or beyond what a Duration of Go holds.
func duration(s float64) *durationpb.Duration {
	if math.IsNaN(s) || math.Abs(s) > 1e9 {
		return nil
	}
	return durationpb.New(time.Duration(s * float64(time.Second)))
}
