package keepclear

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Say gives an action in a person's words: "slew to axes (1.00°, 2.00°), then track 10m0s".
func Say(a *pb.Action) string {
	switch k := a.GetKind().(type) {
	case *pb.Action_Slew:
		s := k.Slew
		to := fmt.Sprintf("axes (%.2f°, %.2f°)", s.GetAxes().GetAxis1Deg(), s.GetAxes().GetAxis2Deg())
		if p := s.GetSky(); p != nil {
			to = fmt.Sprintf("%.3f°, %+.3f° %s", p.GetRaDeg(), p.GetDecDeg(), map[bool]string{true: "ICRS", false: "of date"}[p.GetFrame() == pb.SkyFrame_SKY_FRAME_ICRS])
		}
		if s.Side != nil {
			to += ", tube " + strings.ToLower(strings.TrimPrefix(s.GetSide().String(), "TUBE_SIDE_"))
		}
		return "slew to " + to + following(s.GetTrackDuration())
	case *pb.Action_Track:
		if u := k.Track.GetUntilTime(); u != nil {
			return "track until " + u.AsTime().Format("2006-01-02 15:04:05 UTC")
		}
		return "track for " + k.Track.GetTrackDuration().AsDuration().String()
	case *pb.Action_Jog:
		rate := ""
		if k.Jog.RateDegPerS != nil {
			rate = fmt.Sprintf(" at %.2f°/s", k.Jog.GetRateDegPerS())
		}
		return fmt.Sprintf("jog by (%.2f°, %.2f°)%s", k.Jog.GetBy().GetAxis1Deg(), k.Jog.GetBy().GetAxis2Deg(), rate) + following(k.Jog.GetTrackDuration())
	case *pb.Action_Creep:
		return fmt.Sprintf("creep: turn axis %d by %.2f°, at %.2f°/s at most", k.Creep.GetAxis(), k.Creep.GetByDeg(), k.Creep.GetRateDegPerS())
	case *pb.Action_Home:
		if k.Home.Order != nil {
			return "home, " + map[pb.AxisOrder]string{pb.AxisOrder_AXIS_ORDER_TOGETHER: "both axes at once", pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST: "axis 1 first", pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST: "axis 2 first"}[k.Home.GetOrder()]
		}
		return "home"
	case *pb.Action_Park:
		if at := k.Park.GetPlace(); at != "" {
			return "park at " + at
		}
		return "park"
	case *pb.Action_Flip:
		return "flip" + following(k.Flip.GetTrackDuration())
	case *pb.Action_Sync:
		return "sync"
	}
	return "an action that this version does not know"
}

func following(d *durationpb.Duration) string {
	if d.AsDuration() == 0 {
		return ""
	}
	return ", then track " + d.AsDuration().String()
}
