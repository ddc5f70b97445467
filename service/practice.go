package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// practiceEvery is how often the practice mount reports a sample: at half the age at which a moving pose is stale.
const practiceEvery = time.Second

// practiceHeeds is how soon the practice mount does what it is allowed: as soon as a program that reads its answer would tell a mount. One that goes on
// for a second with what it was about leaves the way that was checked from where it stood. Choice.
const practiceHeeds = 100 * time.Millisecond

// practiceClockS is how right this machine's clock counts as for a practice rig where nobody says: the simulated sky turns by that
// same clock, so nothing can be off.
const practiceClockS = 1.0

// practiceWords are said at the start.
const practiceWords = `
The rig is simulated: it moves as it is allowed to, and its permits move nothing
else. Its sky turns by this machine's clock, which therefore counts as right to
a second. Questions need no sample: it reports one a second.`

// practiceRig drives a simulated mount beside the service: it homes, reports a sample a second, does what permits and sync leaves
// allow, and stops when its permit is over. Askers need send no sample of their own. Whenever it has arrived and tracks it prints what
// its camera solves there, for those who want to try a sync.
type practiceRig struct {
	decider *decide.Decider
	rig     *rig.Rig
	mount   *practice.Mount
	camera  *practice.Camera
	out     io.Writer
	done    map[string]bool // permits and leaves acted on
	open    string          // the permit under way
	heard   string          // the leave last seen: it is used at the next turn
	follows time.Time       // since when it has been seen to track on that permit; zero: it does not
	shown   string          // the permit on which its camera last took a picture
}

// newPracticeRig makes the mount of a practice rig, at rest at home.
func newPracticeRig(d *decide.Decider, r *rig.Rig, out io.Writer, now time.Time) *practiceRig {
	m := practice.NewMount(r, newMoment(), now)
	return &practiceRig{decider: d, rig: r, mount: m, camera: practice.NewCamera(m, 1), out: out, done: map[string]bool{}}
}

// run drives it until ctx ends.
func (p *practiceRig) run(ctx context.Context) error {
	tick, heed := time.NewTicker(practiceEvery), time.NewTicker(practiceHeeds)
	defer tick.Stop()
	defer heed.Stop()
	if err := p.homed(ctx); err != nil {
		return err
	}
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-heed.C:
			_ = p.heed() // what it cannot read the next turn cannot either, and says so
		case <-tick.C:
			if err := p.turn(ctx); err != nil && ctx.Err() == nil {
				fmt.Fprintf(p.out, "practice rig: %v\n", err) // the record is down, say: it goes on reporting, and everything holds
			}
		}
	}
}

// homed reports that it stands at home, as one that has just been homed.
func (p *practiceRig) homed(ctx context.Context) error {
	if err := p.report(ctx, decide.Report{Homed: &decide.HomedReport{Sensed: true}}); err != nil {
		return fmt.Errorf("homing the practice rig: %w", err)
	}
	return nil
}

// turn acts on what is allowed now, and reports.
func (p *practiceRig) turn(ctx context.Context) error {
	v, err := p.decider.Look(ctx, p.rig.ID)
	if err != nil {
		return err
	}
	now := p.decider.Now()
	if l := v.State.Leave; l != nil && l.Live && p.heard != l.ID { // its asker has yet to read the answer, which would say that the leave is used
		p.heard = l.ID
		return p.finish(ctx, v, now)
	}
	if l := v.State.Leave; l != nil && l.Live && !p.done[l.ID] {
		p.done[l.ID] = true
		given := l.Action.Solve.Sky
		if l.Action.Given != nil {
			given = *l.Action.Given
		}
		if err := p.report(ctx, decide.Report{}); err != nil { // a quiet sample before the sync
			return err
		}
		ra, dec := p.ofDate(given, now)
		p.mount.Sync(now, ra, dec)
		return p.report(ctx, decide.Report{Synced: &decide.SyncReport{Leave: l.ID}})
	}
	p.obey(v.State.Permit, now)
	return p.finish(ctx, v, now)
}

// heed acts on a permit as it stands now, between two reports.
func (p *practiceRig) heed() error {
	now := p.decider.Now()
	_, permit, err := p.decider.Going(p.rig.ID, now)
	if err != nil {
		return err
	}
	p.obey(permit, now)
	return nil
}

// obey begins what is allowed now, and stops where it no longer is.
func (p *practiceRig) obey(q *question.Permit, now time.Time) {
	if q.Open() && q.State == question.Begun && !p.done[q.ID] {
		p.done[q.ID], p.open = true, q.ID
		p.act(q, now)
	}
	if p.open != "" && (q == nil || q.ID != p.open || !q.Open()) {
		p.open = ""
		p.mount.Stop(now)
	}
}

// finish reports a sample; at the end of a homing, the homing.
func (p *practiceRig) finish(ctx context.Context, v decide.View, now time.Time) error {
	q := v.State.Permit
	if q.Open() && q.Action.Kind == question.Home && p.done[q.ID] && !p.mount.Moving(now) {
		closure := p.mount.Homed(now)
		return p.report(ctx, decide.Report{Homed: &decide.HomedReport{Sensed: true, Closure: &closure}})
	}
	p.photograph(q, now)
	return p.report(ctx, decide.Report{})
}

// The practice rig's picture: so long after tracking was first reported, taken so long before. Invented; between two samples that
// say that it tracked, or the solve could not be judged.
const (
	pictureAfter    = 2 * practiceEvery
	pictureBefore   = 1500 * time.Millisecond
	pictureExposure = time.Second
)

// photograph prints, once on each permit that tracks, what the camera solves there.
func (p *practiceRig) photograph(q *question.Permit, now time.Time) {
	switch {
	case !q.Open() || !p.done[q.ID] || !p.mount.Following(now):
		p.follows = time.Time{}
		return
	case p.follows.IsZero():
		p.follows = now
	}
	if p.shown == q.ID || now.Sub(p.follows) < pictureAfter {
		return
	}
	p.shown = q.ID
	v := p.camera.Picture(now.Add(-pictureBefore), pictureExposure)
	b, err := protojson.Marshal(wire.SolveOf(&v))
	if err != nil {
		fmt.Fprintf(p.out, "practice rig: its solve cannot be shown: %v\n", err)
		return
	}
	fmt.Fprintf(p.out, "practice rig: it tracks; to try a sync, within two minutes give this solve to: keepclear ask heron sync --practice --solve -\n%s\n", b)
}

// act starts a permitted motion.
func (p *practiceRig) act(q *question.Permit, now time.Time) {
	a := q.Action
	follow := a.Follow > 0
	switch a.Kind {
	case question.Slew, question.Retreat:
		if a.Axes != nil {
			p.mount.SlewAxes(now, *a.Axes)
			return
		}
		ra, dec := p.ofDate(*a.Sky, now)
		p.mount.Slew(now, ra, dec, a.Side, follow)
	case question.Track:
		p.mount.Track(now)
	case question.Jog, question.Creep:
		p.mount.Jog(now, *a.Axes, a.Rate, follow)
	case question.Home:
		p.mount.Home(now, a.Order)
	case question.Park:
		if rest, ok := p.rig.Rest(a.Place); ok {
			p.mount.Park(now, rest.Axes)
		}
	case question.Flip:
		ra, dec, side := p.mount.Belief(now)
		p.mount.Slew(now, ra, dec, side.Other(), follow)
	case question.Sync:
	}
}

// ofDate is a place in the equinox that the mount understands.
func (p *practiceRig) ofDate(s question.Sky, at time.Time) (ra, dec unit.Angle) {
	if s.Frame == question.OfDate {
		return s.RA, s.Dec
	}
	m, err := p.decider.Moment(at)
	if err != nil {
		return 0, 0
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}

// report sends a report with a fresh sample.
func (p *practiceRig) report(ctx context.Context, r decide.Report) error {
	now := p.decider.Now()
	s, err := p.mount.Sample(now)
	if err != nil {
		return err
	}
	s.Time = s.Time.UTC().Round(0)
	r.Rig, r.Asker, r.At, r.Sent, r.Sample = p.rig.ID, "practice rig", now, now, &s
	_, err = p.decider.Report(ctx, r, decide.Request{})
	return err
}
