package keepclear

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// While a motion runs a sample goes out every sampleEvery; no reply for silentFor stops it, the time that it takes to read the mount apart, sampleEvery
// at most. The service's side of the same is the freshness of a sample.
const (
	sampleEvery = time.Second
	silentFor   = 2 * time.Second
	stopTimeout = 5 * time.Second
)

// Done is how a motion or a sync ended.
type Done struct {
	// Moved tells whether the body ran.
	Moved bool
	// Stopped says why the library stopped the mount; empty: it did not.
	Stopped string
	// Err is what the body, the stop or the report returned; nil: nothing.
	Err error
	// Why says why the body did not run; empty: it ran.
	Why string
}

// String gives it in one line.
func (d Done) String() string {
	switch {
	case !d.Moved:
		return "not moved: " + d.Why
	case d.Stopped != "":
		return "stopped: " + d.Stopped
	case d.Err != nil:
		return "failed: " + d.Err.Error()
	}
	return "done"
}

// Move runs a motion if the answer allows it, once, and not otherwise. body moves the mount and returns when it is at rest or tracks as
// permitted; its context ends when the permit is taken back, replies stop, or time is over: by then Stop was called. It ends with ctx too: then
// Stop is called whether body heeds that or not. When body returns
// the end is reported with a fresh sample, unless the motion was to track on: then the permit stays open for the tracking.
func (a Answer) Move(ctx context.Context, body func(context.Context, *pb.Permit) error) Done {
	p := a.Reply.GetPermit()
	switch {
	case a.Verdict != Allow || a.handle == nil:
		return Done{Why: a.Why}
	case p == nil:
		return Done{Why: "the answer is leave for a sync, not for a motion"}
	}
	if over := a.handle.over(a); over != "" {
		return Done{Why: over}
	}
	if err := ctx.Err(); err != nil {
		a.close(ctx, pb.EndKind_END_KIND_NOT_MOVED)
		return Done{Why: "it was broken off before it began: " + context.Cause(ctx).Error()}
	}
	if a.request.GetBeginLater() {
		begun, fault := a.begin(ctx)
		if fault != "" {
			return Done{Why: fault}
		}
		p = begun
	}
	if late := a.use(); late != "" {
		if a.handle.over(a) == "" {
			a.close(ctx, pb.EndKind_END_KIND_NOT_MOVED)
		}
		return Done{Why: late}
	}
	return a.guarded(ctx, p, body)
}

// begin tells the service that the motion starts now and returns the begun permit: what was granted, within what the reply says now.
func (a Answer) begin(ctx context.Context) (*pb.Permit, string) {
	h, id := a.handle, a.Reply.GetPermit().GetPermitId()
	s, err := h.read(ctx)
	if err != nil {
		return nil, fmt.Sprintf("the mount could not be read: %v", err)
	}
	r, err := h.Report(ctx, &pb.ReportRequest{Sample: s, Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: id}}})
	if err != nil {
		return nil, err.Error()
	}
	p := r.GetPermit()
	if p.GetPermitId() != id || p.GetState() != pb.PermitState_PERMIT_STATE_BEGUN {
		reason := "the permit did not begin: it is " + word(p.GetState().String())
		for _, f := range r.GetFindings() {
			reason += "; " + f.GetSentence()
		}
		return nil, reason
	}
	if fault := a.narrower(p); fault != "" {
		a.close(ctx, pb.EndKind_END_KIND_NOT_MOVED)
		return nil, "the permit began, but " + fault
	}
	begun := proto.Clone(a.Reply.GetPermit()).(*pb.Permit)
	begun.State = p.GetState()
	if by := p.GetStopBy(); stated(by) && by.GetWithinDuration().AsDuration() < begun.GetStopBy().GetWithinDuration().AsDuration() {
		begun.StopBy = by
	}
	return begun, ""
}

// narrower says what a begun permit has come to that was not granted; empty: nothing. What it does not repeat is as granted.
func (a Answer) narrower(p *pb.Permit) string {
	switch {
	case p.GetRig() != "" && p.GetRig() != a.request.GetRig():
		return fmt.Sprintf("for rig %q", p.GetRig())
	case p.GetAction() != nil && !proto.Equal(p.GetAction(), a.request.GetAction()):
		return "for another action than was sent"
	}
	return Terms{Practice: a.handle.practice}.conditions(p.GetCritical())
}

// guarded runs the body under watch. A body that panics stops the mount before the panic goes on.
func (a Answer) guarded(ctx context.Context, p *pb.Permit, body func(context.Context, *pb.Permit) error) Done {
	inner, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	running, rest := context.WithCancel(context.WithoutCancel(ctx)) // a body that does not heed its context is watched for all that
	defer rest()
	watched := make(chan *takenError, 1)
	go func() { watched <- a.watch(running, inner, p, cancel) }()
	finished := false
	defer func() {
		if !finished { // a panic in the body
			rest() // before the watch hears of it: it would take that for a break, and stop beside us
			cancel(errors.New("the program failed"))
			<-watched
			a.stop()
		}
	}()
	err := body(inner, p)
	finished = true
	broken := ctx.Err() != nil // by the time that the body returned: what ends later breaks off nothing
	rest()
	cancel(nil)
	if taken := <-watched; taken != nil { // also where the body, whose mount was stopped, takes its rest for the end of the motion
		return a.afterStop(ctx, taken.why, err)
	}
	if broken { // it heard of it before the watch did; that it names no error does not tell that the mount is where it was to go
		return a.afterStop(ctx, brokenOff, err)
	}
	if err != nil {
		stopErr := a.stop()
		a.close(ctx, pb.EndKind_END_KIND_FAILED)
		return Done{Moved: true, Stopped: "the motion failed: " + err.Error(), Err: errors.Join(err, stopErr)}
	}
	if tracksOn(p) {
		_, err = a.handle.reportSample(ctx)
		return Done{Moved: true, Err: err}
	}
	return Done{Moved: true, Err: a.close(ctx, pb.EndKind_END_KIND_DONE)}
}

// brokenOff is why a motion was stopped whose caller ended its context.
const brokenOff = "the program broke it off"

// tracksOn tells whether the permit goes on after the motion, for tracking.
func tracksOn(p *pb.Permit) bool {
	switch k := p.GetAction().GetKind().(type) {
	case *pb.Action_Slew:
		return k.Slew.GetTrackDuration().AsDuration() > 0
	case *pb.Action_Jog:
		return k.Jog.GetTrackDuration().AsDuration() > 0
	case *pb.Action_Flip:
		return k.Flip.GetTrackDuration().AsDuration() > 0
	case *pb.Action_Track:
		return true
	}
	return false
}

// takenError is why a motion lost its leave under way.
type takenError struct{ why string }

func (e *takenError) Error() string { return e.why }

// watch sends samples and stops the mount where the permit is lost: the stop comes first, only then the body hears of it. It returns why.
// running ends with the body; ctx, of which the body hears, ends before that where the caller breaks the motion off, which stops nothing by itself.
func (a Answer) watch(running, ctx context.Context, p *pb.Permit, cancel context.CancelCauseFunc) *takenError {
	tick := time.NewTicker(sampleEvery)
	defer tick.Stop()
	w := waiting{heard: time.Now()}
	for {
		why := ""
		select {
		case <-ctx.Done():
		case <-time.After(time.Until(w.end())):
		case <-tick.C:
			if r, err := a.tell(ctx, &w); err == nil {
				w = waiting{heard: time.Now()}
				why = lost(p, r)
			}
		}
		if running.Err() != nil {
			return nil
		}
		if ctx.Err() != nil {
			why = brokenOff
		}
		if why == "" && !time.Now().Before(w.end()) {
			why = w.words()
		}
		if over := Passed(a.sent, a.handle.now()); why == "" && over > p.GetStopBy().GetWithinDuration().AsDuration() {
			why = "its time is over"
		}
		if why != "" {
			_ = a.stop() // the error comes again, and is kept, in afterStop
			taken := &takenError{why}
			cancel(taken)
			return taken
		}
	}
}

// waiting is how long nobody has answered.
type waiting struct {
	heard   time.Time     // the last reply
	reading time.Duration // of the mount, since then: it may be slow without anybody being gone
	mute    bool          // it is the mount that did not answer last
}

// end is when it has lasted too long. A mount is read in less than the time between two samples, or is waited for no longer.
func (w *waiting) end() time.Time { return w.heard.Add(silentFor + min(w.reading, sampleEvery)) }

func (w *waiting) words() string {
	since := time.Since(w.heard).Round(100 * time.Millisecond)
	if w.mute {
		return "the mount could not be read for " + since.String()
	}
	return "nobody answered for " + since.String()
}

// tell reads a sample and reports it; a reply that comes later than is waited for comes too late.
func (a Answer) tell(ctx context.Context, w *waiting) (*pb.ReportResponse, error) {
	began := time.Now()
	last, cancel := context.WithDeadline(ctx, w.heard.Add(silentFor+sampleEvery))
	defer cancel()
	s, err := a.handle.readBy(last)
	w.reading += time.Since(began)
	w.mute = err != nil
	if err != nil {
		return nil, err
	}
	ctx, stop := context.WithDeadline(ctx, w.end())
	defer stop()
	return a.handle.Report(ctx, &pb.ReportRequest{Sample: s})
}

// readBy is read, given up with its context even where the mount does not heed that.
func (h *Handle) readBy(ctx context.Context) (*pb.Sample, error) {
	type answer struct {
		s   *pb.Sample
		err error
	}
	got := make(chan answer, 1)
	go func() {
		s, err := h.read(ctx)
		got <- answer{s, err}
	}()
	select {
	case a := <-got:
		return a.s, a.err
	case <-ctx.Done():
		return nil, fmt.Errorf("reading the mount: %w", ctx.Err())
	}
}

// harmless tells whether a finding of what was seen tells that all is well: no permit ends by it.
func harmless(f *pb.Finding) bool {
	return slices.Contains([]string{"seen/homed", "seen/side_shown", "seen/permit_begun", "seen/source_closes", "seen/solve_sides_with_pose"}, f.GetRuleId())
}

// doubt is what a reply says that the sample put in doubt: a permit that is gone from the reply ended by that.
func doubt(r *pb.ReportResponse) string {
	for _, f := range r.GetFindings() {
		if f.GetSentence() != "" && !harmless(f) {
			return ": " + f.GetSentence()
		}
	}
	return ""
}

// lost says why a reply means that the permit is no longer ours; empty: it is.
func lost(p *pb.Permit, r *pb.ReportResponse) string {
	now := r.GetPermit()
	switch {
	case now.GetPermitId() != p.GetPermitId():
		return "the permit is no longer open" + doubt(r)
	case now.GetState() != pb.PermitState_PERMIT_STATE_BEGUN && now.GetState() != pb.PermitState_PERMIT_STATE_ENDED:
		return "the permit is " + word(now.GetState().String()) + ": " + now.GetEndedBecause()
	}
	return ""
}

func (a Answer) afterStop(ctx context.Context, why string, body error) Done {
	stopErr := a.stop()
	a.close(ctx, pb.EndKind_END_KIND_STOPPED)
	return Done{Moved: true, Stopped: why, Err: errors.Join(body, stopErr)}
}

// stop stops the mount, whatever became of the caller's context.
func (a Answer) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopTimeout)
	defer cancel()
	if err := a.handle.mount.Stop(ctx); err != nil {
		return fmt.Errorf("stopping the mount: %w", err)
	}
	return nil
}

// close reports the end of a permit with a fresh sample.
func (a Answer) close(ctx context.Context, how pb.EndKind) error {
	h, id := a.handle, a.Reply.GetPermit().GetPermitId()
	r := &pb.ReportRequest{Event: &pb.ReportRequest_End{End: &pb.End{PermitId: id, Kind: how}}}
	soon, cancel := context.WithTimeout(context.WithoutCancel(ctx), readTimeout)
	defer cancel()
	if s, err := h.readBy(soon); err == nil {
		r.Sample = s
	}
	out, err := h.Report(context.WithoutCancel(ctx), r)
	if err != nil {
		return err
	}
	if p := out.GetPermit(); p.GetPermitId() != id || p.GetState() != pb.PermitState_PERMIT_STATE_BEGUN {
		h.closeIf(id)
	}
	return nil
}

// reportSample reads a sample and reports it.
func (h *Handle) reportSample(ctx context.Context) (*pb.ReportResponse, error) {
	s, err := h.read(ctx)
	if err != nil {
		return nil, err
	}
	return h.Report(ctx, &pb.ReportRequest{Sample: s})
}

// Tell tells the mount of an allowed sync, and not otherwise, and reports it with a fresh sample.
func (a Answer) Tell(ctx context.Context, body func(context.Context, *pb.SyncLeave) error) Done {
	l := a.Reply.GetSyncLeave()
	switch {
	case a.Verdict != Allow || a.handle == nil:
		return Done{Why: a.Why}
	case l == nil:
		return Done{Why: "the answer is leave for a motion, not for a sync"}
	}
	if late := a.use(); late != "" {
		return Done{Why: late}
	}
	err := body(ctx, l)
	r := &pb.ReportRequest{Event: &pb.ReportRequest_Synced{Synced: &pb.Synced{LeaveId: l.GetLeaveId(), Refused: err != nil}}}
	if s, readErr := a.handle.read(ctx); readErr == nil {
		r.Sample = s
	}
	_, reportErr := a.handle.Report(context.WithoutCancel(ctx), r)
	return Done{Moved: true, Err: errors.Join(err, reportErr)}
}
