package state

import (
	"encoding/base64"
	"maps"
	"slices"
	"strconv"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// What of a snapshot, and of what changed, every entry of a rig has. What few entries have is left to encoding/json.

// rigFields are the fields of a rig's state in the order of the type: each writes itself with its name, or nothing where it is left out.
var rigFields = [...]struct {
	name  string
	write func(o *object, name string, s *question.RigState)
}{
	{"epoch", func(o *object, n string, s *question.RigState) { o.count(n, s.Epoch) }},
	{"pose", func(o *object, n string, s *question.RigState) { o.pose(n, &s.Pose) }},
	{"homing", func(o *object, n string, s *question.RigState) { o.homing(n, s.Homing) }},
	{"sample", func(o *object, n string, s *question.RigState) { o.sample(n, s.Sample) }},
	{"still", func(o *object, n string, s *question.RigState) { o.sample(n, s.Still) }},
	{"recent", func(o *object, n string, s *question.RigState) { list(o, n, s.Recent, (*object).mark) }},
	{"site", func(o *object, n string, s *question.RigState) { o.place(n, s.Site) }},
	{"site_at", func(o *object, n string, s *question.RigState) { o.known(n, s.SiteAt) }},
	{"steps", func(o *object, n string, s *question.RigState) { some(o, n, s.Steps) }},
	{"permit", func(o *object, n string, s *question.RigState) { o.permit(n, s.Permit) }},
	{"leave", func(o *object, n string, s *question.RigState) { o.leave(n, s.Leave) }},
	{"solves", func(o *object, n string, s *question.RigState) { list(o, n, s.Solves, (*object).judged) }},
	{"before", func(o *object, n string, s *question.RigState) { list(o, n, s.Before, (*object).judged) }},
	{"syncs", func(o *object, n string, s *question.RigState) { some(o, n, s.Syncs) }},
	{"learnt", func(o *object, n string, s *question.RigState) { named(o, n, s.Learnt) }},
	{"pointing", func(o *object, n string, s *question.RigState) { named(o, n, s.Pointing) }},
	{"against", func(o *object, n string, s *question.RigState) { o.whole(n, s.Against) }},
	{"proof", func(o *object, n string, s *question.RigState) { rare(o, n, s.Proof) }},
	{"limits", func(o *object, n string, s *question.RigState) { some(o, n, s.Limits) }},
	{"demoted", func(o *object, n string, s *question.RigState) { named(o, n, s.Demoted) }},
	{"parted", func(o *object, n string, s *question.RigState) { named(o, n, s.Parted) }},
	{"beside", func(o *object, n string, s *question.RigState) { o.axes(n, s.Beside) }},
	{"disproved", func(o *object, n string, s *question.RigState) { rare(o, n, s.Disproved) }},
	{"refused", func(o *object, n string, s *question.RigState) { named(o, n, s.Refused) }},
	{"doubt", func(o *object, n string, s *question.RigState) { o.optional(n, s.Doubt) }},
	{"anchor", func(o *object, n string, s *question.RigState) { o.sample(n, s.Anchor) }},
	{"anchored", func(o *object, n string, s *question.RigState) { list(o, n, s.Anchored, (*object).candidate) }},
	{"lacking", func(o *object, n string, s *question.RigState) { rare(o, n, s.Lacking) }},
	{"crept", func(o *object, n string, s *question.RigState) { o.turned(n, s.Crept) }},
	{"ahead_rad", func(o *object, n string, s *question.RigState) { o.angle(n, s.Ahead) }},
	{"motions", func(o *object, n string, s *question.RigState) { o.whole(n, s.Motions) }},
	{"lost", func(o *object, n string, s *question.RigState) { o.turned(n, s.Lost) }},
	{"taught", func(o *object, n string, s *question.RigState) { o.turned(n, s.Taught) }},
	{"skipped", func(o *object, n string, s *question.RigState) { o.yes(n, s.Skipped) }},
	{"forward", func(o *object, n string, s *question.RigState) { o.span(n, s.Forward) }},
	{"discounted", func(o *object, n string, s *question.RigState) { o.span(n, s.Discounted) }},
	{"stepped", func(o *object, n string, s *question.RigState) { o.span(n, s.Stepped) }},
}

func (o *object) state(name string, s *question.RigState) {
	o.open(name)
	for _, f := range rigFields {
		f.write(o, f.name, s)
	}
	o.end()
}

func (o *object) snapshot(name string, s *question.Snapshot) {
	o.open(name)
	o.state("rig", &s.Rig)
	some(o, "locks", s.Locks)
	o.clock("clock", &s.Clock)
	o.time("at", s.At)
	o.optional("unheard", s.Unheard)
	o.end()
}

func (o *object) clock(name string, c *question.Clock) {
	o.open(name)
	o.either("kernel_synced", c.KernelSynced)
	o.real("kernel_bound_s", c.KernelBoundS)
	o.instant("good_at", c.GoodAt)
	o.figure("good_bound_s", c.GoodBoundS)
	o.instant("told_at", c.ToldAt)
	o.figure("told_bound_s", c.ToldBoundS)
	o.optional("jumped", c.Jumped)
	o.end()
}

func (o *object) pose(name string, p *question.Pose) {
	o.open(name)
	o.text("state", string(p.State))
	list(o, "candidates", p.Candidates, (*object).candidate)
	o.optional("source", string(p.Source))
	o.known("at", p.At)
	o.optional("homing_id", p.HomingID)
	o.optional("because", p.Because)
	o.end()
}

func (o *object) candidate(c *question.Candidate) {
	o.pair("axes", c.Axes)
	o.pair("sigma", c.Sigma)
	o.optional("because", c.Because)
	o.optional("kept", string(c.Kept))
}

func (o *object) homing(name string, h *question.Homing) {
	if h == nil {
		return
	}
	o.open(name)
	o.text("id", h.ID)
	o.time("at", h.At)
	o.either("sensed", h.Sensed)
	o.optional("person", h.Person)
	o.pair("axes", h.Axes)
	o.pair("sigma", h.Sigma)
	o.axes("belief_axes", h.BeliefAxes)
	o.axes("closure", h.Closure)
	o.optional("run_mark", h.RunMark)
	o.yes("sigma_told", h.SigmaTold)
	o.axes("off", h.Off)
	if len(h.CountZero) > 0 {
		o.open("count_zero")
		for _, source := range slices.Sorted(maps.Keys(h.CountZero)) {
			o.pair(string(source), h.CountZero[source])
		}
		o.end()
	}
	o.end()
}

func (o *object) mark(m *question.SampleMark) {
	o.time("time", m.Time)
	o.text("doing", string(m.Doing))
	o.pair("axes", m.Axes)
	o.either("known", m.Known)
}

func (o *object) sample(name string, s *question.Sample) {
	if s == nil {
		return
	}
	o.open(name)
	o.known("time", s.Time)
	o.known("received", s.Received)
	if s.Sequence != nil {
		o.count("sequence", *s.Sequence)
	}
	o.optional("asker", s.Asker)
	if b := s.Belief; b != nil {
		o.open("belief")
		o.sky("sky", &b.Sky)
		o.optional("side", string(b.Side))
		o.end()
	}
	o.optional("doing", string(s.Doing))
	list(o, "readings", s.Readings, (*object).reading)
	o.angle("sidereal_rad", s.Sidereal)
	o.place("site", s.Site)
	o.optional("homing_id", s.HomingID)
	some(o, "parts", s.Parts)
	o.optional("run_mark", s.RunMark)
	if s.SyncCount != nil {
		o.count("sync_count", uint64(*s.SyncCount))
	}
	if s.Drag != [2]*float64{} {
		o.any("drag", s.Drag)
	}
	if u := s.Up; u != nil {
		o.open("up")
		o.text("boot", u.Boot)
		o.long("for", u.For)
		o.yes("bounded", u.Bounded)
		o.end()
	}
	o.end()
}

func (o *object) reading(r *question.Reading) {
	o.text("source", string(r.Source))
	o.pair("axes", r.Axes)
	o.axes("sigma", r.Sigma)
}

func (o *object) place(name string, p *question.Place) {
	if p == nil {
		return
	}
	o.open(name)
	o.real("lat_rad", float64(p.Lat))
	o.real("lon_rad", float64(p.Lon))
	o.end()
}

// sky writes a direction; nothing where there is none.
func (o *object) sky(name string, s *question.Sky) {
	if s == nil {
		return
	}
	o.open(name)
	o.real("ra_rad", float64(s.RA))
	o.real("dec_rad", float64(s.Dec))
	o.text("frame", string(s.Frame))
	o.end()
}

func (o *object) permit(name string, p *question.Permit) {
	if p == nil {
		return
	}
	o.open(name)
	o.text("id", p.ID)
	o.text("request_id", p.RequestID)
	o.text("rig", p.Rig)
	o.action("action", &p.Action)
	o.count("epoch", p.Epoch)
	o.text("state", string(p.State))
	o.optional("asker", p.Asker)
	o.texts("critical", p.Critical)
	o.time("asked", p.Asked)
	o.time("start_by", p.StartBy)
	o.long("start_within", p.StartWithin)
	o.time("stop_by", p.StopBy)
	o.long("stop_within", p.StopWithin)
	o.instant("first_contact", p.FirstContact)
	o.pair("from", p.From)
	if list(o, "ends", p.Ends, (*object).angles); len(p.Ends) == 0 {
		o.any("ends", p.Ends)
	}
	some(o, "aimed", p.Aimed)
	o.pair("sigma", p.Sigma)
	o.real("motion_s", p.MotionS)
	o.either("tracks", p.Tracks)
	o.optional("homing", p.Homing)
	o.optional("source", string(p.Source))
	list(o, "legs", p.Legs, (*object).leg)
	if p.Closest != nil {
		o.open("closest")
		o.clearance(p.Closest)
		o.end()
	}
	o.instant("begun_at", p.BegunAt)
	o.yes("moved", p.Moved)
	o.optional("because", p.Because)
	o.instant("arrived", p.Arrived)
	o.figure("moving_s", p.MovingS)
	o.optional("told", p.Told)
	o.end()
}

func (o *object) leg(l *question.Leg) {
	o.pair("from", l.From)
	o.pair("to", l.To)
	o.open("closest")
	o.clearance(&l.Closest)
	o.end()
}

func (o *object) clearance(c *question.Clearance) {
	o.real("lower_mm", c.LowerMM)
	o.real("upper_mm", c.UpperMM)
	o.real("required_mm", c.RequiredMM)
	o.texts("parts", c.Parts[:])
	o.pair("axes", c.Axes)
	o.instant("instant", c.Instant)
}

func (o *object) leave(name string, l *question.SyncLeave) {
	if l == nil {
		return
	}
	o.open(name)
	o.text("id", l.ID)
	o.text("request_id", l.RequestID)
	o.text("rig", l.Rig)
	o.action("action", &l.Action)
	o.count("epoch", l.Epoch)
	o.time("asked", l.Asked)
	o.time("use_by", l.UseBy)
	o.long("use_within", l.UseWithin)
	o.texts("critical", l.Critical)
	o.either("live", l.Live)
	o.optional("because", l.Because)
	o.pair("expected", l.Expected)
	o.end()
}

func (o *object) judged(j *question.JudgedSolve) {
	o.text("request_id", j.RequestID)
	o.time("at", j.At)
	o.known("mid", j.Mid)
	o.optional("picture", j.Picture)
	o.optional("optics", j.Optics)
	o.either("blind", j.Blind)
	o.sky("hint", j.Hint)
	o.sky("sky", j.Sky)
	o.text("verdict", string(j.Verdict))
	o.optional("side", string(j.Side))
	o.pair("pose", j.Pose)
	o.pair("solved", j.Solved)
	o.figure("field_rad", float64(j.Field))
	o.either("good", j.Good)
	o.yes("agreed", j.Agreed)
	o.real("offset_rad", float64(j.OffsetSky))
	o.angle("rotation_rad", j.Rotation)
	o.angle("camera_rad", j.Camera)
	o.angle("pixel_rad", j.Pixel)
	o.truth("mirrored", j.Mirrored)
	o.yes("against", j.Against)
	o.turned("sigma", j.Sigma)
	o.yes("confirmed", j.Confirmed)
}

func (o *object) question(name string, q *question.Question) {
	o.open(name)
	o.text("id", q.ID)
	o.text("rig", q.Rig)
	o.action("action", &q.Action)
	o.sample("sample", q.Sample)
	o.known("sent", q.Sent)
	o.time("at", q.At)
	o.optional("asker", q.Asker)
	o.optional("attended_by", q.AttendedBy)
	o.optional("replaces", q.Replaces)
	o.yes("begin_later", q.BeginLater)
	o.end()
}

func (o *object) action(name string, a *question.Action) {
	o.open(name)
	o.text("kind", string(a.Kind))
	o.sky("sky", a.Sky)
	o.axes("axes", a.Axes)
	o.optional("side", string(a.Side))
	o.span("follow", a.Follow)
	o.instant("until", a.Until)
	o.angle("rate_rad_per_s", a.Rate)
	o.optional("order", string(a.Order))
	o.optional("place", a.Place)
	o.solve("solve", a.Solve)
	o.bytes("message", a.Message)
	o.sky("given", a.Given)
	o.end()
}

func (o *object) solve(name string, v *question.Solve) {
	if v == nil {
		return
	}
	o.open(name)
	o.sky("sky", &v.Sky)
	o.known("start", v.Start)
	o.span("exposure", v.Exposure)
	o.optional("optics", v.Optics)
	o.angle("pixel_rad", v.Pixel)
	o.angle("width_rad", v.Width)
	o.angle("height_rad", v.Height)
	o.angle("rotation_rad", v.Rotation)
	o.truth("mirrored", v.Mirrored)
	if v.Matched != nil {
		o.key("matched")
		o.b = strconv.AppendInt(o.b, int64(*v.Matched), 10)
	}
	o.angle("residual_rad", v.Residual)
	o.angle("radius_rad", v.Radius)
	o.sky("hint", v.Hint)
	o.optional("picture", v.Picture)
	o.sample("mid", v.Mid)
	o.end()
}

// list writes a list of objects; nothing where it is empty.
func list[T any](o *object, name string, of []T, write func(*object, *T)) {
	if len(of) == 0 {
		return
	}
	o.key(name)
	for i := range of {
		sep := byte(',')
		if i == 0 {
			sep = '['
		}
		o.b, o.begun = append(o.b, sep), false
		write(o, &of[i])
		o.end()
	}
	o.b = append(o.b, ']')
}

// some, named and rare write what few entries have; nothing where it is empty.
func some[T any](o *object, name string, of []T) {
	if len(of) > 0 {
		o.any(name, of)
	}
}

func named[K comparable, T any](o *object, name string, of map[K]T) {
	if len(of) > 0 {
		o.any(name, of)
	}
}

func rare[T any](o *object, name string, of *T) {
	if of != nil {
		o.any(name, of)
	}
}

// time writes an instant, known one that is left out where there is none.
func (o *object) time(name string, t time.Time) { o.instant(name, &t) }

func (o *object) known(name string, t time.Time) {
	if !t.IsZero() {
		o.instant(name, &t)
	}
}

// long writes a length of time in nanoseconds, span one that is left out where it is none.
func (o *object) long(name string, d time.Duration) {
	o.key(name)
	o.b = strconv.AppendInt(o.b, int64(d), 10)
}

func (o *object) span(name string, d time.Duration) {
	if d != 0 {
		o.long(name, d)
	}
}

func (o *object) count(name string, n uint64) {
	o.key(name)
	o.b = strconv.AppendUint(o.b, n, 10)
}

// whole writes a number that is left out where it is 0.
func (o *object) whole(name string, n int) {
	if n != 0 {
		o.key(name)
		o.b = strconv.AppendInt(o.b, int64(n), 10)
	}
}

// real writes a number, figure one that is left out where it is 0.
func (o *object) real(name string, v float64) { o.number(name, &v) }

func (o *object) figure(name string, v float64) {
	if v != 0 {
		o.number(name, &v)
	}
}

// angle writes an angle that is left out where there is none.
func (o *object) angle(name string, a *unit.Angle) { o.number(name, (*float64)(a)) }

// either writes a truth, yes one that is left out where it is none.
func (o *object) either(name string, v bool) { o.truth(name, &v) }

func (o *object) yes(name string, v bool) {
	if v {
		o.truth(name, &v)
	}
}

func (o *object) angles(a *rig.Axes) {
	o.real("axis1_rad", float64(a.A1))
	o.real("axis2_rad", float64(a.A2))
}

// pair writes axis angles; axes those that are left out where there are none, turned those that are where both are 0.
func (o *object) pair(name string, a rig.Axes) {
	o.open(name)
	o.angles(&a)
	o.end()
}

func (o *object) axes(name string, a *rig.Axes) {
	if a != nil {
		o.pair(name, *a)
	}
}

func (o *object) turned(name string, a rig.Axes) {
	if a != (rig.Axes{}) {
		o.pair(name, a)
	}
}

// bytes writes bytes that are left out where there are none.
func (o *object) bytes(name string, b []byte) {
	if len(b) > 0 {
		o.key(name)
		o.b = append(base64.StdEncoding.AppendEncode(append(o.b, '"'), b), '"')
	}
}
