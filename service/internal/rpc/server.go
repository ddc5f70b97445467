package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/wire"
)

// mostBytes bounds a request: a rig file with its meshes. The wire room bounds each kind of request more narrowly.
const mostBytes = 17 << 20

// bufferBytes is what each connection keeps for reading and for writing: a question is some hundred bytes, an answer some thousand. gRPC's
// own 32 KiB each would be most of what an idle asker costs.
const bufferBytes = 8 << 10

// mostStreams bounds what one connection may have under way. Common practice, no source.
const mostStreams = 128

// Parts are what the server asks.
type Parts struct {
	Decider *decide.Decider
	Record  *record.Record
	Checker *wire.Checker
	Log     *slog.Logger
	// Rules describes the rules and limits of a rig (empty: the facility's).
	Rules func(rigName string) (*pb.ListRulesResponse, error)
	// CheckFile reads a rig file and says what was understood, and what is to be looked at again.
	CheckFile func(context.Context, *pb.CheckRigRequest) (*pb.CheckRigResponse, error)
	// WhatIf reads the file of a rig with changes: what it makes, and its limits. An error of class rig.ErrChange: it cannot be changed so.
	WhatIf func(rigName string, all []rig.Change) (*rig.Rig, limits.Set, error)
	// Maps is where the maps of rigs are kept from one start to the next; nil: nowhere.
	Maps *survey.Folder
	// OnDisk says which files of a rig are not on disk as they were when the service started, and how; nil: nobody looks.
	OnDisk func(rigName string) []string
	// Gauges returns how a rig is held against its file, and the plan of it; an error where going, asked often, is false before that is worked out.
	Gauges func(rigName string, going func() bool) (*gauge.Subject, gauge.Plan, error)
	// Pace slows who asks on and on what is refused; nil: nobody.
	Pace *Pace
	// Heartbeat is how often a follower hears that the stream lives.
	Heartbeat time.Duration
	// After is the timer of the end; time.After.
	After func(time.Duration) <-chan time.Time
}

// Server serves keepclear.v1, health and reflection.
type Server struct {
	Parts
	decider *decide.Decider
	surveys *survey.Surveyor
	drawing survey.Turn // of pictures of rigs
	gauging survey.Turn // of plans and judgements of gauges
	checker *wire.Checker
	log     *slog.Logger
	grpc    *grpc.Server
	health  *health.Server

	names    []string // of the services, for health
	missed   missed
	asks     chan struct{}   // holds one for each question and rehearsal under way
	tells    chan struct{}   // holds one for each report under way
	judging  atomic.Int32    // how many requests are being judged
	first    sync.Once       // closes answered
	answered chan struct{}   // closed once a request was judged
	underWay sync.WaitGroup  // requests that have begun, whether or not their asker still waits
	serving  context.Context // ends when the service is told to stop: streams end with it
	stopping context.CancelFunc
}

// New makes a server; it serves nothing yet.
func New(p Parts) *Server {
	s := &Server{Parts: p, decider: p.Decider, surveys: survey.New(p.Maps), drawing: survey.NewTurn(), gauging: survey.NewTurn(), checker: p.Checker, log: p.Log, health: health.NewServer(), answered: make(chan struct{}), missed: missed{turn: make(chan struct{}, 1), all: map[asker]*lost{}}, asks: make(chan struct{}, mostJudged), tells: make(chan struct{}, mostJudged)}
	s.serving, s.stopping = context.WithCancel(context.Background())
	s.grpc = grpc.NewServer(
		grpc.ForceServerCodecV2(codec{}),
		grpc.MaxRecvMsgSize(mostBytes), grpc.MaxConcurrentStreams(mostStreams),
		grpc.NumStreamWorkers(4), // saves about a sixth of the processor time (style, measured there)
		grpc.ReadBufferSize(bufferBytes), grpc.WriteBufferSize(bufferBytes),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 5 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
	)
	for _, d := range s.services() {
		s.names = append(s.names, d.ServiceName)
		s.grpc.RegisterService(&d, nil) // its methods know their server
	}
	grpc_health_v1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	s.Healthy()
	return s
}

// services are the descriptions of the API with methods that see raw bytes.
func (s *Server) services() []grpc.ServiceDesc {
	motion, rehearsal, rig := pb.MotionService_ServiceDesc, pb.RehearsalService_ServiceDesc, pb.RigService_ServiceDesc
	rule, lock, rec, gauges := pb.RuleService_ServiceDesc, pb.LockService_ServiceDesc, pb.RecordService_ServiceDesc, pb.GaugeService_ServiceDesc
	motion.Methods = []grpc.MethodDesc{
		unary(s, motion.ServiceName+"/Ask", s.ask), unary(s, motion.ServiceName+"/Report", s.report), unary(s, motion.ServiceName+"/Withdraw", s.withdraw),
	}
	rehearsal.Methods = []grpc.MethodDesc{unary(s, rehearsal.ServiceName+"/Rehearse", s.rehearse)}
	rig.Methods = []grpc.MethodDesc{
		unary(s, rig.ServiceName+"/GetRig", s.getRig), unary(s, rig.ServiceName+"/ListRigs", s.listRigs), unary(s, rig.ServiceName+"/CheckRig", s.checkRig),
		unary(s, rig.ServiceName+"/DrawRig", s.drawRig),
	}
	rig.Streams = []grpc.StreamDesc{stream(s, "SurveyRig", s.surveyRig)}
	rule.Methods = []grpc.MethodDesc{unary(s, rule.ServiceName+"/ListRules", s.listRules)}
	lock.Methods = []grpc.MethodDesc{unary(s, lock.ServiceName+"/Lock", s.lock), unary(s, lock.ServiceName+"/Release", s.release)}
	rec.Methods = []grpc.MethodDesc{unary(s, rec.ServiceName+"/GetEntry", s.getEntry), unary(s, rec.ServiceName+"/ListEntries", s.listEntries)}
	rec.Streams = []grpc.StreamDesc{
		stream(s, "FollowEntries", s.followEntries), stream(s, "VerifyRecord", s.verifyRecord),
	}
	gauges.Methods = []grpc.MethodDesc{
		unary(s, gauges.ServiceName+"/PlanGauges", s.planGauges), unary(s, gauges.ServiceName+"/JudgeGauges", s.judgeGauges),
	}
	return []grpc.ServiceDesc{motion, rehearsal, rig, rule, lock, rec, gauges}
}

// Tick is how often the service looks at its health and lapses what time has ended.
const Tick = time.Second

// Every does what is done now and then: it looks at the health, records reports that were lost, and lapses what time alone has
// ended. A panic in it is logged, and the service goes on.
func (s *Server) Every() {
	defer func() {
		if p := recover(); p != nil {
			s.log.Error("panic", "in", "the service's own round", "what", wire.OneLine(fmt.Sprint(p)), "stack", string(debug.Stack()))
		}
	}()
	s.Healthy()
	if s.decider.Down() != nil {
		return
	}
	if err := s.makeUpFor(func(asker) bool { return true }); err != nil {
		s.log.Error("a lost report is still not on record", "why", err)
	}
	s.decider.LapseAll()
}

// Healthy sets the health of the service from the record: a service that can allow nothing says so.
func (s *Server) Healthy() {
	state := grpc_health_v1.HealthCheckResponse_SERVING
	if s.decider.Down() != nil {
		state = grpc_health_v1.HealthCheckResponse_NOT_SERVING
	}
	s.health.SetServingStatus("", state)
	for _, name := range s.names {
		s.health.SetServingStatus(name, state)
	}
}

// Serve serves until ctx ends; what was answered is on record, what was not is refused. It returns nil after a clean end, once
// nothing that was asked is under way, and what was lost is on record.
func (s *Server) Serve(ctx context.Context, on net.Listener) error {
	stopped := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(stopped)
		select {
		case <-ctx.Done():
			s.health.Shutdown()
			s.end()
		case <-done:
		}
	}()
	err := s.grpc.Serve(on)
	close(done)
	<-stopped
	s.stopping()
	s.underWay.Wait()
	s.lastWord()
	return err
}

// lastWord puts on record which reports were lost since the last tick: the next start would else know nothing of them, and hold no rig.
func (s *Server) lastWord() {
	if s.decider.Down() != nil {
		return
	}
	if err := s.makeUpFor(func(asker) bool { return true }); err != nil {
		s.log.Error("a lost report is not on record", "why", err)
	}
}

// grace is how long answers under way may take when the service is told to stop.
const grace = 3 * time.Second

// end lets answers under way leave, but not for ever.
func (s *Server) end() {
	s.stopping()
	left := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(left)
	}()
	select {
	case <-left:
	case <-s.After(grace):
		s.grpc.Stop() // ends the graceful one too
		<-left
	}
}
