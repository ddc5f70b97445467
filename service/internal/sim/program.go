package sim

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// actor is something that acts in steps: a coroutine of the world, which goes on when what it waits for has come.
type actor struct {
	w      *world
	name   string
	next   func() (struct{}, bool)
	stop   func()
	yield  func(struct{}) bool
	ticket int // of the present wait: what was meant for an earlier one comes too late
	parked bool
	gone   bool
}

var errGone = errors.New("the actor is gone")

// act starts an actor. It begins at once, in the event under way.
func (w *world) act(name string, life func(*actor)) *actor {
	a := &actor{w: w, name: name}
	a.next, a.stop = iter.Pull(func(yield func(struct{}) bool) {
		a.yield = yield
		defer func() {
			a.gone = true
			if p := recover(); p != nil && p != any(errGone) {
				panic(p)
			}
		}()
		life(a)
	})
	a.next()
	return a
}

// die ends an actor where it stands.
func (a *actor) die() {
	if !a.gone {
		a.gone = true
		a.stop()
	}
}

// park waits for the wake of this ticket.
func (a *actor) park() {
	a.parked = true
	if !a.yield(struct{}{}) {
		panic(errGone)
	}
}

// wake lets the actor go on if it still waits on this ticket.
func (a *actor) wake(ticket int) {
	if a.gone || !a.parked || a.ticket != ticket {
		return
	}
	a.parked = false
	a.ticket++
	a.next()
}

// sleep waits for so long.
func (a *actor) sleep(d time.Duration) {
	t := a.ticket
	a.w.in(d, func() { a.wake(t) })
	a.park()
}

// Patience of a program: how long it waits for a reply, and how often it asks again with the same bytes.
const (
	tryFor = 2 * time.Second
	tries  = 4
)

// call sends a request, again and again with the same bytes until something comes back. nil: nothing came, or an error.
func (a *actor) call(x *wires, method string, m, reply proto.Message) bool {
	raw, err := proto.Marshal(m)
	if err != nil {
		a.w.broken("a request cannot be encoded: %v", err)
		return false
	}
	for range tries {
		var got []byte
		var failed error
		ctx, cancel := context.WithCancel(context.Background())
		givesUp := x.rng.IntN(2) == 0 // else what is under way arrives, late as it may be
		t := a.ticket
		x.send(ctx, method, raw, func(b []byte, err error) {
			if a.ticket == t && a.parked {
				got, failed = b, err
				a.wake(t)
			}
		})
		a.w.in(tryFor, func() {
			if a.ticket == t {
				if givesUp {
					cancel()
				}
				a.wake(t)
			}
		})
		a.park()
		defer cancel()
		if failed == nil && got != nil {
			return proto.Unmarshal(got, reply) == nil
		}
		a.sleep(time.Second + time.Duration(x.rng.IntN(500))*time.Millisecond)
	}
	return false
}

// program is one program that works with a rig for a night.
type program struct {
	*actor
	f       *field
	x       *wires
	rng     *rand.Rand
	person  *person
	skew    time.Duration // its clock less the true one
	later   bool          // its permits wait for a begin
	told    string        // the name of who attends; empty: nobody
	ids     *int
	permit  string // the last one, to be named as replaced
	stopBy  time.Time
	calm    bool // the faults are over
	cycle   int  // steps of the last cycle done after that
	quit    bool
	rash    bool // it points anywhere
	trapped bool // every way home was denied
	visits  int  // of persons since it was last allowed home: what an attested pose leaves open may keep every way home held
	misses  int
	seconds int
}

func (p *program) id(what string) string {
	*p.ids++
	return fmt.Sprintf("%s-%s-%012d", p.name, what, *p.ids)
}

func (p *program) clock() *timestamppb.Timestamp { return timestamppb.New(p.w.now().Add(p.skew)) }

// report sends a report with a fresh sample.
func (p *program) report(r *pb.ReportRequest) (*pb.ReportResponse, bool) {
	if s, ok := p.f.sample(p.skew); ok {
		r.Sample = wire.SampleOf(s)
	}
	if r.Sample == nil && (r.Event == nil || r.GetBegin() != nil) { // nothing to tell, and nothing to begin from
		return nil, false
	}
	r.RequestId, r.Rig, r.Asker, r.SentTime = p.id("report"), p.f.rig.ID, p.name, p.clock()
	out := &pb.ReportResponse{}
	ok := p.call(p.x, report, r, out)
	return out, ok
}

// outcome is what came of a question: the reply that was an allow when it came, or why it was none.
type outcome struct {
	allowed bool
	denied  bool
	needs   []*pb.Need
	reply   *pb.AskResponse
	sent    time.Time
	lost    bool // nothing came
}

// ask asks one question, with a fresh sample.
func (p *program) ask(act question.Action) outcome {
	q := &pb.AskRequest{RequestId: p.id("ask"), Rig: p.f.rig.ID, Asker: p.name, AttendedBy: p.told, SentTime: p.clock(), Action: wire.ActionOf(act),
		BeginLater: p.later && act.Kind != question.Sync}
	if s, ok := p.f.sample(p.skew); ok {
		q.Sample = wire.SampleOf(s)
	}
	if act.Kind != question.Sync {
		q.ReplacesPermitId = p.permit
	}
	out := outcome{sent: p.w.now(), reply: &pb.AskResponse{}}
	if !p.call(p.x, ask, q, out.reply) {
		out.lost = true
		return out
	}
	out.needs = out.reply.GetJudgement().GetNeeds()
	out.denied = out.reply.GetJudgement().GetVerdict() == pb.Verdict_VERDICT_DENY
	fault := (keepclear.Terms{Practice: p.f.rig.Practice, Since: p.w.now().Sub(out.sent)}).Fault(q, out.reply)
	out.allowed = fault == ""
	if out.allowed && p.later && act.Kind != question.Sync {
		out.allowed = p.begin(&out)
	}
	return out
}

// begin begins a permit that waits.
func (p *program) begin(o *outcome) bool {
	id := o.reply.GetPermit().GetPermitId()
	r, ok := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: id}}})
	return ok && r.GetPermit().GetPermitId() == id && r.GetPermit().GetState() == pb.PermitState_PERMIT_STATE_BEGUN &&
		p.w.now().Sub(o.sent) < o.reply.GetPermit().GetStartBy().GetWithinDuration().AsDuration()
}

// move asks for a motion and does it if it is allowed.
func (p *program) move(act question.Action, do func(at time.Time)) bool {
	o := p.ask(act)
	if !o.allowed {
		p.answerNeeds(o)
		return false
	}
	p.permit = o.reply.GetPermit().GetPermitId()
	p.stopBy = o.sent.Add(o.reply.GetPermit().GetStopBy().GetWithinDuration().AsDuration())
	p.f.begins(p.x.judge, o.reply, o.sent)
	p.f.touch(do)
	return p.underWay(act)
}

// underWay watches a motion, and tells its end.
func (p *program) underWay(act question.Action) bool {
	silent := 0
	for p.f.mount.Moving(p.w.now()) {
		p.sleep(min(9*time.Second, p.f.mount.Arrival(p.w.now()).Sub(p.w.now())+50*time.Millisecond))
		if !p.f.mount.Moving(p.w.now()) {
			break
		}
		switch r, ok := p.report(&pb.ReportRequest{}); {
		case !ok:
			silent++
		case r.GetPermit().GetPermitId() != p.permit || r.GetPermit().GetState() != pb.PermitState_PERMIT_STATE_BEGUN:
			silent = 2
		}
		if silent >= 2 {
			p.halt(pb.EndKind_END_KIND_STOPPED)
			return false
		}
	}
	p.sleep(time.Second)
	switch {
	case act.Kind == question.Home && p.f.offHome() > unit.Degree: // a slip ended it: no sensor answers there, and nobody says that it is home
		p.f.rests()
		p.halt(pb.EndKind_END_KIND_FAILED)
		return false
	case act.Kind == question.Home:
		return p.homed()
	case act.Follow > 0 || act.Kind == question.Track:
		_, ok := p.report(&pb.ReportRequest{})
		return ok
	}
	p.f.rests()
	return p.end(pb.EndKind_END_KIND_DONE)
}

// halt stops the mount and tells that.
func (p *program) halt(how pb.EndKind) {
	p.f.stop()
	p.end(how)
}

func (p *program) end(how pb.EndKind) bool {
	id := p.permit
	if id == "" {
		return true
	}
	p.permit = ""
	_, ok := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_End{End: &pb.End{PermitId: id, Kind: how}}})
	return ok
}

// homed tells that the reference was found, by sensors or by who attends.
func (p *program) homed() bool {
	p.permit = ""
	h := &pb.Homed{By: pb.HomedBy_HOMED_BY_ATTESTED, Person: "R. Alder"}
	var truly rig.Axes // steps may be lost between the mark and now, and nothing shows it
	p.f.touch(func(at time.Time) {
		truly = p.f.mount.Axes(at).Sub(p.f.rig.Home)
		closure := p.f.mount.Homed(at)
		if p.f.encoders() {
			closure = truly
		}
		if p.f.rig.Homing.By == "sensor" {
			h = &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED, Closure: pairOf(closure)}
		}
	})
	p.f.rests()
	r, ok := p.report(&pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: h}})
	if sensed := h.GetBy() == pb.HomedBy_HOMED_BY_SENSED; ok && r.GetHomingId() != "" && (!sensed || truly.Abs().Max() < 0.02*unit.Degree) {
		p.f.deceived = ""
	}
	return ok
}

// wait lets time go by with a sample now and then, and stops tracking in time.
func (p *program) wait(d, every time.Duration) bool {
	until := p.w.now().Add(d)
	for p.w.now().Before(until) {
		step := min(every, until.Sub(p.w.now()))
		following := p.f.mount.Following(p.w.now()) && p.permit != ""
		if following {
			if left := p.stopBy.Sub(p.w.now()) - 5*time.Second; left <= 0 {
				p.halt(pb.EndKind_END_KIND_DONE)
				return false
			} else if step > left {
				step = left
			}
		}
		p.sleep(step)
		if p.calm && p.cycle == 0 { // there is something else to do first
			return false
		}
		r, ok := p.report(&pb.ReportRequest{})
		if ok && following && (r.GetPermit().GetPermitId() != p.permit || r.GetStopTracking()) {
			p.halt(pb.EndKind_END_KIND_STOPPED)
			return false
		}
	}
	return true
}

// answerNeeds does what a hold asks for.
func (p *program) answerNeeds(o outcome) {
	if o.lost {
		p.sleep(20 * time.Second)
		return
	}
	kinds := []pb.NeedKind{}
	for _, n := range o.needs {
		kinds = append(kinds, n.GetKind())
	}
	has := func(k ...pb.NeedKind) bool {
		return slices.ContainsFunc(kinds, func(x pb.NeedKind) bool { return slices.Contains(k, x) })
	}
	switch {
	case has(pb.NeedKind_NEED_KIND_RELEASE, pb.NeedKind_NEED_KIND_RIG_PROOF, pb.NeedKind_NEED_KIND_ATTENDANCE, pb.NeedKind_NEED_KIND_REPAIR):
		p.person.comes(p)
	case has(pb.NeedKind_NEED_KIND_PERMIT_END):
		p.withdraw()
	case has(pb.NeedKind_NEED_KIND_HOMING):
		p.home()
	case has(pb.NeedKind_NEED_KIND_CLOCK, pb.NeedKind_NEED_KIND_SITE, pb.NeedKind_NEED_KIND_TIME):
		for range 5 {
			p.sleep(20 * time.Second)
			p.report(&pb.ReportRequest{})
		}
	default:
		p.sleep(3 * time.Second)
		p.report(&pb.ReportRequest{})
	}
}

// withdraw takes the rig's leave back. It must succeed whenever the service is there.
func (p *program) withdraw() {
	p.f.stop()
	p.permit = ""
	w := &pb.WithdrawRequest{Rig: p.f.rig.ID, Asker: p.name, Reason: "to begin anew"}
	r := &pb.WithdrawResponse{}
	if p.call(p.x, withdraw, w, r) && !r.GetRigKnown() {
		p.w.broken("a withdrawal does not know rig %s", p.f.rig.ID)
	}
	p.report(&pb.ReportRequest{})
}

// home homes the rig, one axis after the other where both at once would hit something.
func (p *program) home() bool {
	for _, order := range []rig.Sharing{"", rig.Axis1First, rig.Axis2First} {
		o := p.ask(question.Action{Kind: question.Home, Order: order})
		if o.allowed {
			p.trapped, p.visits = false, 0
			p.permit = o.reply.GetPermit().GetPermitId()
			p.f.begins(p.x.judge, o.reply, o.sent)
			p.f.touch(func(at time.Time) { p.f.mount.Home(at, order) })
			return p.underWay(question.Action{Kind: question.Home})
		}
		if p.trapped = o.denied; !o.denied {
			return false
		}
	}
	return false
}
