package wire

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Question turns a checked request into the question that it asks, received at an instant of our clock. Requires: Check found nothing.
func Question(r *pb.AskRequest, at time.Time, retreats func(rigName string, to rig.Axes) bool) question.Question {
	q := question.Question{
		ID: r.GetRequestId(), Rig: r.GetRig(), Action: Action(r.GetAction()), Sample: readSample(r.GetSample()),
		Sent: readTime(r.GetSentTime()), At: at, Asker: r.GetAsker(), AttendedBy: r.GetAttendedBy(),
		Replaces: r.GetReplacesPermitId(), BeginLater: r.GetBeginLater(),
	}
	if q.Action.Kind == question.Slew && q.Action.Axes != nil && retreats(q.Rig, *q.Action.Axes) {
		q.Action.Kind = question.Retreat
	}
	// Marshalling a message that was just decoded cannot fail; if it did, the permit would repeat nothing and the client would hold.
	q.Action.Message, _ = proto.MarshalOptions{Deterministic: true}.Marshal(r.GetAction())
	return q
}

// Action turns a checked action into its noun.
func Action(a *pb.Action) question.Action {
	switch k := a.GetKind().(type) {
	case *pb.Action_Slew:
		return readSlew(k.Slew)
	case *pb.Action_Sync:
		return question.Action{Kind: question.Sync, Solve: readSolve(k.Sync.GetSolve()), Given: skyOrNil(k.Sync.GetMountSky())}
	case *pb.Action_Track:
		t := question.Action{Kind: question.Track, Follow: k.Track.GetTrackDuration().AsDuration()}
		if u := k.Track.GetUntilTime(); u != nil {
			until := readTime(u)
			t.Until = &until
		}
		return t
	case *pb.Action_Jog:
		by := axesOf(k.Jog.GetBy())
		return question.Action{Kind: question.Jog, Axes: &by, Rate: degrees(k.Jog.RateDegPerS), Follow: k.Jog.GetTrackDuration().AsDuration()}
	case *pb.Action_Creep:
		return readCreep(k.Creep)
	case *pb.Action_Home:
		h := question.Action{Kind: question.Home}
		if k.Home.Order != nil {
			h.Order = wordOf(orders, k.Home.GetOrder())
		}
		return h
	case *pb.Action_Park:
		return question.Action{Kind: question.Park, Place: k.Park.GetPlace()}
	case *pb.Action_Flip:
		return question.Action{Kind: question.Flip, Follow: k.Flip.GetTrackDuration().AsDuration()}
	}
	return question.Action{}
}

func readCreep(c *pb.Creep) question.Action {
	by := rig.Axes{A1: unit.Deg(c.GetByDeg())}
	if c.GetAxis() == 2 {
		by = rig.Axes{A2: by.A1}
	}
	return question.Action{Kind: question.Creep, Axes: &by, Rate: degrees(c.RateDegPerS)}
}

func readSlew(s *pb.Slew) question.Action {
	a := question.Action{Kind: question.Slew, Follow: s.GetTrackDuration().AsDuration()}
	switch t := s.GetTarget().(type) {
	case *pb.Slew_Sky:
		a.Sky = skyOrNil(t.Sky)
	case *pb.Slew_Axes:
		to := axesOf(t.Axes)
		a.Axes = &to
	}
	if s.Side != nil {
		a.Side = wordOf(sides, s.GetSide())
	}
	return a
}

func readSolve(s *pb.Solve) *question.Solve {
	v := &question.Solve{
		Sky: readSky(s.GetSky()), Start: readTime(s.GetExposureStartTime()), Exposure: readDuration(s.GetExposureDuration()), Optics: s.GetOptics(),
		Pixel: arcseconds(s.PixelArcsec), Width: degrees(s.FieldWidthDeg), Height: degrees(s.FieldHeightDeg), Rotation: degrees(s.RotationDeg),
		Mirrored: s.Mirrored, Residual: arcseconds(s.ResidualArcsec), Radius: degrees(s.SearchRadiusDeg), Picture: s.GetPictureId(), Mid: readSample(s.GetMidExposure()),
		Hint: skyOrNil(s.GetHint()),
	}
	if s.MatchedCount != nil {
		n := int(s.GetMatchedCount())
		v.Matched = &n
	}
	return v
}

func readSky(s *pb.SkyPosition) question.Sky {
	return question.Sky{RA: unit.Deg(s.GetRaDeg()), Dec: unit.Deg(s.GetDecDeg()), Frame: wordOf(frames, s.GetFrame())}
}

func skyOrNil(s *pb.SkyPosition) *question.Sky {
	if s == nil {
		return nil
	}
	v := readSky(s)
	return &v
}

// readSample turns a sample into its noun; nil stays nil.
func readSample(s *pb.Sample) *question.Sample {
	if s == nil {
		return nil
	}
	v := &question.Sample{
		Time: readTime(s.GetTime()), Sequence: s.Sequence, Sidereal: degrees(s.MountLstDeg),
		HomingID: s.GetHomingId(), RunMark: s.GetRunMark(), SyncCount: s.SyncCount,
	}
	if b := s.GetBelief(); b != nil {
		v.Belief = &question.Belief{Sky: readSky(b.GetSky())}
		if b.Side != nil {
			v.Belief.Side = wordOf(sides, b.GetSide())
		}
	}
	if s.Motion != nil {
		v.Doing = wordOf(doings, s.GetMotion())
	}
	for _, r := range s.GetReadings() {
		v.Readings = append(v.Readings, question.Reading{Source: wordOf(sources, r.GetSource()), Axes: axesOf(r.GetAxes()), Sigma: sigmas(r.GetSigma())})
	}
	if p := s.GetMountSite(); p != nil {
		v.Site = &question.Place{Lat: unit.Deg(p.GetLatDeg()), Lon: unit.Deg(p.GetLonDeg())}
	}
	for _, p := range s.GetParts() {
		v.Parts = append(v.Parts, readPart(p))
	}
	if d := s.GetDrag(); d != nil {
		v.Drag = [2]*float64{d.Axis1, d.Axis2}
	}
	return v
}

func readPart(p *pb.PartState) rig.PartState {
	out := rig.PartState{Part: p.GetPart(), Name: p.GetName()}
	switch v := p.GetState().(type) {
	case *pb.PartState_TravelMm:
		out.Measure, out.Unit = &v.TravelMm, "mm"
	case *pb.PartState_AngleDeg:
		out.Measure, out.Unit = &v.AngleDeg, "deg"
	}
	return out
}

// Report turns a checked report into its noun. A roof is told of a rig that declares none: it is taken as its sample alone.
func Report(r *pb.ReportRequest, at time.Time) decide.Report {
	out := decide.Report{Rig: r.GetRig(), Asker: r.GetAsker(), At: at, Sent: readTime(r.GetSentTime()), Sample: readSample(r.GetSample())}
	switch e := r.GetEvent().(type) {
	case *pb.ReportRequest_Begin:
		out.Begin = e.Begin.GetPermitId()
	case *pb.ReportRequest_End:
		out.End = &decide.EndReport{Permit: e.End.GetPermitId(), How: wordOf(endKinds, e.End.GetKind()), Note: e.End.GetNote()}
	case *pb.ReportRequest_Homed:
		out.Homed = readHomed(e.Homed)
	case *pb.ReportRequest_Synced:
		out.Synced = &decide.SyncReport{Leave: e.Synced.GetLeaveId(), Refused: e.Synced.GetRefused()}
	case *pb.ReportRequest_Act:
		out.Act = &pose.Act{Kind: wordOf(acts, e.Act.GetKind()), Person: e.Act.GetPerson(), At: readTime(e.Act.GetActTime()), Note: e.Act.GetNote()}
	case *pb.ReportRequest_Proved:
		p := &question.Proof{Person: e.Proved.GetPerson(), SignsChecked: e.Proved.GetSignsChecked(), ResidualMM: e.Proved.GetResidualMm()}
		copy(p.RigDigest[:], e.Proved.GetRigSha256())
		out.Proved = p
	case *pb.ReportRequest_MountLimitSeen:
		out.Limit = &question.MountLimit{Axis: int(e.MountLimitSeen.GetAxis()), Limit: unit.Deg(e.MountLimitSeen.GetLimitDeg())}
	}
	return out
}

func readHomed(h *pb.Homed) *decide.HomedReport {
	out := &decide.HomedReport{Sensed: h.GetBy() == pb.HomedBy_HOMED_BY_SENSED, Person: h.GetPerson()}
	if h.Axes != nil {
		at := axesOf(h.GetAxes())
		out.At = &at
	}
	if s := sigmas(h.GetSigma()); s != nil {
		out.Sigma = s
	}
	if h.Closure != nil {
		c := axesOf(h.GetClosure())
		out.Closure = &c
	}
	return out
}

func axesOf(a *pb.AxisPair) rig.Axes { return rig.DegAxes(a.GetAxis1Deg(), a.GetAxis2Deg()) }

func sigmas(s *pb.AxisSigma) *rig.Axes {
	if s == nil {
		return nil
	}
	a := rig.DegAxes(s.GetAxis1Deg(), s.GetAxis2Deg())
	return &a
}

func degrees(d *float64) *unit.Angle {
	if d == nil {
		return nil
	}
	a := unit.Deg(*d)
	return &a
}

func arcseconds(d *float64) *unit.Angle {
	if d == nil {
		return nil
	}
	a := unit.Arcsec(*d)
	return &a
}

// readTime returns the instant of a timestamp, UTC; zero where there is none.
func readTime(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func readDuration(d *durationpb.Duration) time.Duration {
	if d == nil {
		return 0
	}
	return d.AsDuration()
}
