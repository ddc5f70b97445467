// Package keepclearv1 is the API of keepclear: seven gRPC services and their messages, generated from the proto files beside it.
//
// MotionService is all that a program needs during a night (Ask, Report, Withdraw); RehearsalService judges a plan beforehand;
// RigService, RuleService and RecordService tell how things stand and why; GaugeService helps to hold a described rig against the
// rig itself; LockService is for persons. The conventions that hold for every message (units, frames, intervals, what may be absent and what that costs) stand once, in place.proto.
//
// Nothing here is written by hand but this page. To make it anew, from the root of the checkout:
//
//	go tool -modfile=.ci/tools.mod buf generate --template api/buf.gen.yaml
package keepclearv1
