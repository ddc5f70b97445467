package wire

import (
	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// The words of the domain and the numbers of the API, side by side. A number that is not here never passes Check; a word that is
// not here becomes the unspecified number, which every client reads as the safe meaning. Nothing writes them; they are made once, because
// an answer looks a hundred words up.

var frames = map[question.Frame]pb.SkyFrame{question.ICRS: pb.SkyFrame_SKY_FRAME_ICRS, question.OfDate: pb.SkyFrame_SKY_FRAME_OF_DATE}

var sides = map[rig.Side]pb.TubeSide{
	rig.East: pb.TubeSide_TUBE_SIDE_EAST, rig.West: pb.TubeSide_TUBE_SIDE_WEST,
	rig.First: pb.TubeSide_TUBE_SIDE_FIRST, rig.Second: pb.TubeSide_TUBE_SIDE_SECOND,
}

var doings = map[question.Doing]pb.Motion{
	question.AtRest: pb.Motion_MOTION_AT_REST, question.Tracking: pb.Motion_MOTION_TRACKING, question.Moving: pb.Motion_MOTION_MOVING,
}

var sources = map[rig.SourceKind]pb.PoseSource{
	rig.AxisEncoder: pb.PoseSource_POSE_SOURCE_AXIS_ENCODER, rig.MotorCount: pb.PoseSource_POSE_SOURCE_MOTOR_COUNT,
	rig.UnsyncedBelief: pb.PoseSource_POSE_SOURCE_UNSYNCED_BELIEF, rig.Reckoned: pb.PoseSource_POSE_SOURCE_RECKONED,
}

var orders = map[rig.Sharing]pb.AxisOrder{
	rig.Independent: pb.AxisOrder_AXIS_ORDER_TOGETHER, rig.Axis1First: pb.AxisOrder_AXIS_ORDER_AXIS1_FIRST, rig.Axis2First: pb.AxisOrder_AXIS_ORDER_AXIS2_FIRST,
}

var verdicts = map[verdict.Verdict]pb.Verdict{
	verdict.Allow: pb.Verdict_VERDICT_ALLOW, verdict.Hold: pb.Verdict_VERDICT_HOLD, verdict.Deny: pb.Verdict_VERDICT_DENY,
}

var effects = map[verdict.Effect]pb.Effect{
	verdict.Passes: pb.Effect_EFFECT_PASS, verdict.Holds: pb.Effect_EFFECT_HOLD,
	verdict.Denies: pb.Effect_EFFECT_DENY, verdict.NotApplicable: pb.Effect_EFFECT_NOT_APPLICABLE,
}

var origins = map[facts.Origin]pb.Origin{
	facts.Measured: pb.Origin_ORIGIN_MEASURED, facts.Computed: pb.Origin_ORIGIN_COMPUTED,
	facts.Told: pb.Origin_ORIGIN_TOLD, facts.Absent: pb.Origin_ORIGIN_ABSENT,
}

var needs = map[verdict.NeedKind]pb.NeedKind{
	verdict.NeedSample: pb.NeedKind_NEED_KIND_SAMPLE, verdict.NeedHoming: pb.NeedKind_NEED_KIND_HOMING,
	verdict.NeedSecondSolve: pb.NeedKind_NEED_KIND_SECOND_SOLVE, verdict.NeedPermitEnd: pb.NeedKind_NEED_KIND_PERMIT_END,
	verdict.NeedClock: pb.NeedKind_NEED_KIND_CLOCK, verdict.NeedSite: pb.NeedKind_NEED_KIND_SITE,
	verdict.NeedRelease: pb.NeedKind_NEED_KIND_RELEASE, verdict.NeedRigProof: pb.NeedKind_NEED_KIND_RIG_PROOF,
	verdict.NeedAttendance: pb.NeedKind_NEED_KIND_ATTENDANCE, verdict.NeedSurroundings: pb.NeedKind_NEED_KIND_SURROUNDINGS,
	verdict.NeedRepair: pb.NeedKind_NEED_KIND_REPAIR, verdict.NeedTime: pb.NeedKind_NEED_KIND_TIME,
	"asker": pb.NeedKind_NEED_KIND_ASKER, verdict.NeedPolar: pb.NeedKind_NEED_KIND_POLAR_ALIGNMENT,
}

var permitStates = map[question.PermitState]pb.PermitState{
	question.Granted: pb.PermitState_PERMIT_STATE_GRANTED, question.Begun: pb.PermitState_PERMIT_STATE_BEGUN,
	question.Ended: pb.PermitState_PERMIT_STATE_ENDED, question.Withdrawn: pb.PermitState_PERMIT_STATE_WITHDRAWN,
	question.Expired: pb.PermitState_PERMIT_STATE_EXPIRED,
}

var poseStates = map[question.PoseState]pb.PoseState{
	question.Known: pb.PoseState_POSE_STATE_KNOWN, question.Candidates: pb.PoseState_POSE_STATE_CANDIDATES, question.Unknown: pb.PoseState_POSE_STATE_UNKNOWN,
}

var fallbacks = map[rig.FallbackKind]pb.FallbackKind{
	rig.NothingStops: pb.FallbackKind_FALLBACK_KIND_NOTHING, rig.MotionEnds: pb.FallbackKind_FALLBACK_KIND_MOTION_ENDS,
	rig.MountLimit: pb.FallbackKind_FALLBACK_KIND_MOUNT_LIMIT, rig.PowerRelay: pb.FallbackKind_FALLBACK_KIND_POWER_RELAY,
}

var endKinds = map[pose.EndKind]pb.EndKind{
	pose.Done: pb.EndKind_END_KIND_DONE, pose.NotMoved: pb.EndKind_END_KIND_NOT_MOVED,
	pose.Stopped: pb.EndKind_END_KIND_STOPPED, pose.Failed: pb.EndKind_END_KIND_FAILED,
}

var acts = map[pose.ActKind]pb.ActKind{
	pose.ClutchOpened: pb.ActKind_ACT_KIND_CLUTCH_OPENED, pose.ControllerRestarted: pb.ActKind_ACT_KIND_CONTROLLER_RESTARTED,
	pose.PowerLost: pb.ActKind_ACT_KIND_POWER_LOST, pose.PayloadChanged: pb.ActKind_ACT_KIND_PAYLOAD_CHANGED,
	pose.Rebalanced: pb.ActKind_ACT_KIND_REBALANCED, pose.PolarAxisAdjusted: pb.ActKind_ACT_KIND_POLAR_AXIS_ADJUSTED,
	pose.TripodMoved: pb.ActKind_ACT_KIND_TRIPOD_MOVED, pose.ClockSet: pb.ActKind_ACT_KIND_CLOCK_SET, pose.SiteSet: pb.ActKind_ACT_KIND_SITE_SET,
}

var entryKinds = map[string]pb.EntryKind{
	state.Asked: pb.EntryKind_ENTRY_KIND_ASKED, state.Reported: pb.EntryKind_ENTRY_KIND_REPORTED,
	state.Withdrawn: pb.EntryKind_ENTRY_KIND_WITHDRAWN, state.LockKind: pb.EntryKind_ENTRY_KIND_LOCK,
	state.Changed: pb.EntryKind_ENTRY_KIND_CHANGED, state.Rehearsed: pb.EntryKind_ENTRY_KIND_REHEARSED,
	state.Service: pb.EntryKind_ENTRY_KIND_SERVICE, state.Refused: pb.EntryKind_ENTRY_KIND_REFUSED, "state": pb.EntryKind_ENTRY_KIND_SERVICE,
}

// wordOf returns the word of a number; the empty word where it has none.
func wordOf[W ~string, N comparable](words map[W]N, n N) W {
	for w, x := range words {
		if x == n {
			return w
		}
	}
	return ""
}
