package sim

import (
	"math"
	"math/rand/v2"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// field is one mount as it truly is, and what stands around it.
type field struct {
	w      *world
	rng    *rand.Rand
	member decide.Member
	rig    *rig.Rig
	mount  *practice.Mount
	camera *practice.Camera
	scene  *rig.Scene

	seen     time.Time // the truth was looked at up to here
	motion   *motion   // under leave; nil: what moves moves unasked, or nothing does
	counts   *Count
	strict   bool   // what no source can show excuses nothing
	falsely  int    // so many of the next pictures solve falsely
	deceived string // what happened since the last homing that no source of this rig can show; empty: nothing
}

// motion is one motion under leave, as proven and as it truly went.
type motion struct {
	permit string
	spare  float64   // mm: no gap on its way exceeds what is required of it by less, as the answer says; -Inf: it says nothing
	excuse string    // why the truth may differ from what was proven; empty: it may not
	until  time.Time // its time is over: what was proven of it binds no longer, but for the first contact that was told of
	touch  time.Time // the first contact; zero: none within a day
	room   rig.Axes
	least  float64 // mm, the nearest that anything truly came
	found  bool
}

func newField(w *world, rng *rand.Rand, m decide.Member) *field {
	f := &field{w: w, rng: rng, member: m, rig: m.Rig, seen: w.now()}
	f.mount = practice.NewMount(m.Rig, moment, w.now())
	f.camera = practice.NewCamera(f.mount, rng.Uint64())
	f.mount.Boresight = rig.DegAxes(rng.NormFloat64()*0.4, rng.NormFloat64()*0.4)
	f.scene = m.Rig.Scene(nil, margins, margins)
	return f
}

// margins are what the limits ask of every pair, mm: the default of clear/path, of each part and in general.
const margins = 10

// gap is the least distance of any two parts at a pose, millimetres: an upper bound of the true one by a nanometre or so.
func (f *field) gap(a rig.Axes) float64 {
	least, _ := f.gaps(a)
	return least
}

// gaps are the least distance of any two parts, and the least by which one exceeds what is required of its pair.
func (f *field) gaps(a rig.Axes) (least, spare float64) {
	least, spare = math.Inf(1), math.Inf(1)
	at := f.scene.Place(a)
	for _, p := range f.scene.Pairs {
		if !solid.AtLeast(at[p.A], at[p.B], math.Max(least, spare+float64(p.Required))) {
			d := solid.Distance(at[p.A], at[p.B]).Upper
			least, spare = math.Min(least, d), math.Min(spare, d-float64(p.Required))
		}
	}
	return least, spare
}

// Steps of looking at a motion: 0.4 s is 1.6° of the fastest of these rigs; the sky turns a degree in four minutes.
const (
	slewStep  = 400 * time.Millisecond
	trackStep = 4 * time.Minute
)

// look samples the true motion up to now.
func (f *field) look() {
	now := f.w.now()
	for t := f.seen; t.Before(now); {
		step := now.Sub(t)
		switch {
		case f.mount.Moving(t):
			step = slewStep
		case f.mount.Following(t):
			step = trackStep
		}
		if t = t.Add(step); t.After(now) {
			t = now
		}
		f.judgeAt(t, f.mount.Axes(t))
	}
	f.seen = now
}

// contactSlack is what the distance of two solids may be off by where they touch, mm: see the error budgets.
const contactSlack = 1e-3

// judgeAt holds one instant of a motion under leave against what was proven of it.
func (f *field) judgeAt(t time.Time, a rig.Axes) {
	m := f.motion
	if m == nil {
		return
	}
	gap, spare := f.gaps(a)
	m.least = math.Min(m.least, gap)
	if m.excuse == "" {
		f.counts.Nearest = math.Min(f.counts.Nearest, gap)
	}
	if m.excuse != "" || m.found {
		return
	}
	over := t.After(m.until)
	out := func(v, low, high, room unit.Angle) bool { return v < low-room || v > high+room }
	low, high := f.rig.Travel.Low, f.rig.Travel.High
	switch {
	case gap <= 0 && (!over || m.touch.IsZero() || t.Before(m.touch)):
		m.found = true
		f.w.broken("%s: permit %s: parts touch at %s", f.rig.ID, m.permit, a)
	case over:
	case spare < m.spare-contactSlack:
		m.found = true
		f.w.broken("%s: permit %s: %.3f mm to spare at %s, proven not less than %.3f", f.rig.ID, m.permit, spare, a, m.spare)
	case out(a.A1, low.A1, high.A1, m.room.A1) || out(a.A2, low.A2, high.A2, m.room.A2):
		m.found = true
		f.w.broken("%s: permit %s: out of travel at %s", f.rig.ID, m.permit, a)
	}
}

// begins begins a motion under leave, asked for at an instant: what it was proven to keep clear of and for how long, and whether the rig truly
// is where the service was told.
func (f *field) begins(j *judge, r *pb.AskResponse, sent time.Time) {
	f.look()
	m := &motion{permit: r.GetPermit().GetPermitId(), spare: math.Inf(-1), least: math.Inf(1), excuse: f.deceived, room: f.rig.Motion.Overrun}
	if c := r.GetJudgement().GetClosest(); c != nil && c.LowerMm != nil {
		m.spare = c.GetLowerMm() - c.GetRequiredMm()
	}
	m.until = sent.Add(r.GetPermit().GetStopBy().GetWithinDuration().AsDuration())
	if c := r.GetPermit().GetFirstContact(); c != nil {
		m.touch = sent.Add(c.GetWithinDuration().AsDuration())
	}
	if p, ok := j.pose(f.rig.ID); ok {
		for _, c := range p.Candidates {
			s := question.Sigma3(c.Sigma)
			m.room = rig.Axes{A1: max(m.room.A1, s.A1+f.rig.Motion.Overrun.A1), A2: max(m.room.A2, s.A2+f.rig.Motion.Overrun.A2)}
		}
		f.w.say("%s moves: truly at %s, held %s %s", f.rig.ID, f.mount.Axes(f.w.now()), p.State, places(p))
		if f.deceived == "" && !heldPose(p, f.mount.Axes(f.w.now())) {
			f.w.broken("%s: the mount stands at %s, the pose held is %s %s", f.rig.ID, f.mount.Axes(f.w.now()), p.State, places(p))
		}
	}
	j.count.Motions++
	if m.excuse != "" {
		j.count.Excused++
	}
	f.motion = m
	f.counts = &j.count
}

// rests ends a motion under leave: what moves from here on moves unasked.
func (f *field) rests() {
	f.look()
	f.motion = nil
}

// offHome is how far the axes truly stand from home.
func (f *field) offHome() (off unit.Angle) {
	f.touch(func(at time.Time) { off = f.mount.Axes(at).Sub(f.rig.Home).Abs().Max() })
	return off
}

// touch looks at the truth and then changes it.
func (f *field) touch(change func(at time.Time)) {
	f.look()
	change(f.w.now())
}

// stop stops the mount.
func (f *field) stop() {
	f.touch(f.mount.Stop)
	f.motion = nil
}

// sample is what the rig's program reads off the mount.
func (f *field) sample(skew time.Duration) (*question.Sample, bool) {
	f.look()
	s, err := f.mount.Sample(f.w.now())
	if err != nil {
		return nil, false
	}
	s.Time = s.Time.Add(skew).Round(0)
	return &s, true
}

// altitude of the tube at a pose.
func (f *field) altitude(a rig.Axes) unit.Angle {
	_, alt := frame.AzAlt(f.rig.Chain.Direction(a))
	return alt
}

// encoders tells whether the rig has encoders on its axes: nothing can turn those unseen.
func (f *field) encoders() bool {
	return f.rig.Sources[0].Kind == rig.AxisEncoder
}

// slip turns the axes unseen by the counters.
func (f *field) slip(by rig.Axes, why string) {
	f.touch(func(at time.Time) { f.mount.Slip(at, by) })
	if !f.encoders() && !f.strict {
		f.deceived = why
	}
	if f.motion != nil && !f.strict {
		f.motion.excuse = why
	}
}
