package keepclear

import (
	"context"
	"fmt"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// DefaultAddress is where a service listens by default: this machine.
const DefaultAddress = "127.0.0.1:7413"

// Mount is what the library needs of a program's own mount. Both functions are required.
type Mount struct {
	// Read reads one sample. It is called before every question, before a begin and once a second while a motion runs. What it tells of the states of
	// parts it tells before a begin too: a motion judged in them begins in no others, and a sample that tells others ends it.
	Read func(context.Context) (*pb.Sample, error)
	// Stop stops both axes as fast as is safe. It must not wait for anything but the mount.
	Stop func(context.Context) error
}

// Option changes how a Handle works.
type Option func(*Handle)

// At says where the service listens.
func At(address string) Option { return func(h *Handle) { h.address = address } }

// Asker names the program, for people and the record.
func Asker(name string) Option { return func(h *Handle) { h.asker = name } }

// Attended names a person who can reach the power switch now.
func Attended(person string) Option { return func(h *Handle) { h.attended = person } }

// Practice accepts permits of a simulated rig, which no real mount may move on.
func Practice() Option { return func(h *Handle) { h.practice = true } }

// BeginLater makes permits wait for a begin with a fresh sample, which Move sends; without it a permit begins with its answer and
// lives only as long as the sample stays fresh.
func BeginLater() Option { return func(h *Handle) { h.beginLater = true } }

// Facts asks for every fact with each answer, for programs that show or log them: Reply.GetJudgement().GetFacts().
func Facts() Option { return func(h *Handle) { h.facts = true } }

// Clock replaces the clock, for simulated nights. It must never run backwards.
func Clock(now func() time.Time) Option { return func(h *Handle) { h.now = now } }

// Over uses a connection of the caller's, which stays the caller's to close.
func Over(conn grpc.ClientConnInterface) Option { return func(h *Handle) { h.conn = conn } }

// Handle asks for one rig. Safe for concurrent use; motions of one rig should still be asked for one after the other.
type Handle struct {
	name       string
	mount      Mount
	address    string
	asker      string
	attended   string
	practice   bool
	beginLater bool
	facts      bool
	now        func() time.Time

	conn   grpc.ClientConnInterface
	closer func() error
	broken string // why nothing can be asked: every answer holds with it
	motion pb.MotionServiceClient
	rigs   pb.RigServiceClient

	mu     sync.Mutex
	permit string              // id of the open permit, to be named as replaced
	since  uint64              // the epoch that its granting made
	epoch  uint64              // highest seen
	homing string              // the homing that angles count from, as the service gave it
	untold []*pb.ReportRequest // acts that the service may not have heard of, oldest first

	usedMove, usedSync uint64 // epochs of the last permit that was moved on, and of the last sync leave that the mount was told by: each is good for one

	refused refusal    // of the question last asked
	telling sync.Mutex // one at a time tells them, so that they arrive in order
}

// Rig makes a handle for one rig. It does not connect yet. A mount without Read or Stop gets a handle that holds every question and
// says why: there is no way to go on without them.
func Rig(name string, mount Mount, options ...Option) *Handle {
	h := &Handle{name: name, mount: mount, address: DefaultAddress, now: time.Now, closer: func() error { return nil }}
	for _, o := range options {
		o(h)
	}
	switch {
	case mount.Read == nil:
		h.broken = "the program gave no function that reads the mount"
	case mount.Stop == nil:
		h.broken = "the program gave no function that stops the mount"
	}
	if h.conn == nil {
		h.dial()
	}
	if h.conn != nil {
		h.motion, h.rigs = pb.NewMotionServiceClient(h.conn), pb.NewRigServiceClient(h.conn)
	}
	return h
}

// dial makes the connection; a service on another machine is out of reach without certificates, which this version does not have.
func (h *Handle) dial() {
	conn, err := grpc.NewClient(h.address,
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, MaxDelay: 2 * time.Second}, MinConnectTimeout: time.Second}))
	if err != nil {
		h.broken = fmt.Sprintf("%q is no address of a service: %v", h.address, err)
		return
	}
	h.conn, h.closer = conn, conn.Close
}

// Close gives the connection up. It stops nothing.
func (h *Handle) Close() error { return h.closer() }

// Name is the rig's id.
func (h *Handle) Name() string { return h.name }

// TakeOver adopts the rig's open permit, after a restart of the program that asked for it: the next question replaces it. It returns
// the permit's id, empty where none is open.
func (h *Handle) TakeOver(ctx context.Context) (string, error) {
	if h.rigs == nil {
		return "", fmt.Errorf("asking for the rig: %s", h.broken)
	}
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	r, err := h.rigs.GetRig(ctx, &pb.GetRigRequest{Rig: h.name})
	if err != nil {
		return "", fmt.Errorf("asking for the rig: %w", err)
	}
	id := r.GetRig().GetPermit().GetPermitId()
	h.mu.Lock()
	defer h.mu.Unlock()
	h.permit, h.since = id, r.GetRig().GetEpoch()
	h.epoch = max(h.epoch, r.GetRig().GetEpoch())
	return id, nil
}

// remember keeps what a reply says of epoch and homing. An unset epoch says nothing.
func (h *Handle) remember(epoch uint64, homing string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.epoch = max(h.epoch, epoch)
	if homing != "" {
		h.homing = homing
	}
}

func (h *Handle) setOpen(id string, epoch uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.permit, h.since = id, epoch
}

// heard takes the reply to a report in: its epoch, its homing, and whether the open permit is still that. A reply from before that was granted
// tells nothing of it, nor one that names an older one, as the end of that does; but one that was granted later is in its place, whoever asked for it.
func (h *Handle) heard(r *pb.ReportResponse) {
	h.remember(r.GetEpoch(), r.GetHomingId())
	h.mu.Lock()
	defer h.mu.Unlock()
	p := r.GetPermit()
	gone := p == nil && r.GetEpoch() >= h.since || p.GetPermitId() != h.permit && p.GetEpoch() > h.since
	if p.GetPermitId() == h.permit && p != nil {
		gone = p.GetState() != pb.PermitState_PERMIT_STATE_BEGUN && p.GetState() != pb.PermitState_PERMIT_STATE_GRANTED
	}
	if gone {
		h.permit = ""
	}
}

// closeIf forgets a permit that is over.
func (h *Handle) closeIf(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.permit == id {
		h.permit = ""
	}
}
