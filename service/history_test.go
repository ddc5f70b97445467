package main

import (
	"context"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
)

// heard is one call as its asker knows it: what was sent, and what came back.
type heard struct {
	request proto.Message
	reply   proto.Message // nil beside an error
	err     error
	at      time.Time // when it was sent; of a stop, when it was answered
	life    int       // of which process, from 1
	under   bool      // a fault was being made
	names   []string  // words of which a refusal must say one, so that it names that fault; nil: none need be said
	died    bool      // the process ended before it answered
	stop    bool      // it is the stopping that must work whatever the fault
}

// history is what the askers of one record know, over the lives of the processes that served it, in the order in which replies came.
type history struct {
	mu    sync.Mutex
	calls []heard
	life  int
}

func (h *history) add(c heard) {
	h.mu.Lock()
	defer h.mu.Unlock()
	c.life = h.life
	h.calls = append(h.calls, c)
}

func (h *history) all() []heard {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]heard(nil), h.calls...)
}

// last is the last call that was answered with a reply of this type.
func last[M proto.Message](h *history) (reply M) {
	for _, c := range h.all() {
		if r, ok := c.reply.(M); ok {
			reply = r
		}
	}
	return reply
}

// receiptOf is the receipt that a reply carries; nil: none.
func receiptOf(reply proto.Message) *pb.Receipt {
	if r, ok := reply.(interface{ GetReceipt() *pb.Receipt }); ok {
		return r.GetReceipt()
	}
	return nil
}

func placeOf(r *pb.Receipt) record.Place {
	p := record.Place{Chain: r.GetChain(), Number: r.GetNumber()}
	copy(p.Hash[:], r.GetEntrySha256())
	return p
}

// receipts are those of all replies.
func receipts(calls []heard) (out []record.Place) {
	for _, c := range calls {
		if r := receiptOf(c.reply); r != nil {
			out = append(out, placeOf(r))
		}
	}
	return out
}

// requestID is the id of a request; empty: it has none.
func requestID(m proto.Message) string {
	if r, ok := m.(interface{ GetRequestId() string }); ok {
		return r.GetRequestId()
	}
	return ""
}

// clients are those of one connection.
type clients struct {
	motion   pb.MotionServiceClient
	locks    pb.LockServiceClient
	rehearse pb.RehearsalServiceClient
	rigs     pb.RigServiceClient
	records  pb.RecordServiceClient
	rules    pb.RuleServiceClient
}

func newClients(conn *grpc.ClientConn) clients {
	return clients{
		pb.NewMotionServiceClient(conn), pb.NewLockServiceClient(conn), pb.NewRehearsalServiceClient(conn),
		pb.NewRigServiceClient(conn), pb.NewRecordServiceClient(conn), pb.NewRuleServiceClient(conn),
	}
}

// send makes the call that a request is for.
func (c clients) send(ctx context.Context, m proto.Message) (reply proto.Message, err error) {
	switch r := m.(type) {
	case *pb.AskRequest:
		reply, err = c.motion.Ask(ctx, r)
	case *pb.ReportRequest:
		reply, err = c.motion.Report(ctx, r)
	case *pb.WithdrawRequest:
		reply, err = c.motion.Withdraw(ctx, r)
	case *pb.LockRequest:
		reply, err = c.locks.Lock(ctx, r)
	case *pb.ReleaseRequest:
		reply, err = c.locks.Release(ctx, r)
	case *pb.RehearseRequest:
		reply, err = c.rehearse.Rehearse(ctx, r)
	default:
		panic("there is no call for a " + string(m.ProtoReflect().Descriptor().Name()))
	}
	if err != nil {
		return nil, err // and no typed nil
	}
	return reply, nil
}
