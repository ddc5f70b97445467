package keepclear

import (
	"context"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// A question that was not allowed may be asked again at once so often in a row, and from then on so often in time at most: every question and its
// answer go on record, 9 kB of a plain slew, so that a program which asks in a tight loop would fill a disk in a night. Choice.
const (
	atOnce = 3
	pause  = 500 * time.Millisecond
)

// refusal counts how often in a row one question was answered and not allowed.
type refusal struct {
	mu     sync.Mutex
	action *pb.Action
	times  int
	last   time.Time
}

// wait holds a question back that was asked too often to be asked at once. It ends with ctx.
func (r *refusal) wait(ctx context.Context, action *pb.Action) {
	r.mu.Lock()
	left := time.Duration(0)
	if r.times >= atOnce && proto.Equal(r.action, action) {
		left = time.Until(r.last.Add(pause))
	}
	r.mu.Unlock()
	if left <= 0 {
		return
	}
	select {
	case <-ctx.Done():
	case <-time.After(left):
	}
}

// note takes an answer in: one that allows, or answers another question, begins the count anew.
func (r *refusal) note(action *pb.Action, allowed bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !proto.Equal(r.action, action) {
		r.times = 0
	}
	r.action, r.times, r.last = proto.Clone(action).(*pb.Action), r.times+1, time.Now()
	if allowed {
		r.times = 0
	}
}
