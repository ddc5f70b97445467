package state

import (
	"maps"
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
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
	{"run_mark", func(o *object, n string, s *question.RigState) { o.optional(n, s.RunMark) }},
	{"site", func(o *object, n string, s *question.RigState) { o.place(n, s.Site) }},
	{"site_at", func(o *object, n string, s *question.RigState) { o.known(n, s.SiteAt) }},
	{"steps", func(o *object, n string, s *question.RigState) { some(o, n, s.Steps) }},
	{"kept_rad", func(o *object, n string, s *question.RigState) { rare(o, n, s.Kept) }},
	{"permit", func(o *object, n string, s *question.RigState) { o.permit(n, s.Permit) }},
	{"leave", func(o *object, n string, s *question.RigState) { o.leave(n, s.Leave) }},
	{"solves", func(o *object, n string, s *question.RigState) { list(o, n, s.Solves, (*object).judged) }},
	{"before", func(o *object, n string, s *question.RigState) { list(o, n, s.Before, (*object).judged) }},
	{"syncs", func(o *object, n string, s *question.RigState) { some(o, n, s.Syncs) }},
	{"learnt", func(o *object, n string, s *question.RigState) { named(o, n, s.Learnt) }},
	{"pointing", func(o *object, n string, s *question.RigState) { named(o, n, s.Pointing) }},
	{"drifts", func(o *object, n string, s *question.RigState) { named(o, n, s.Drifts) }},
	{"against", func(o *object, n string, s *question.RigState) { o.whole(n, s.Against) }},
	{"proof", func(o *object, n string, s *question.RigState) { rare(o, n, s.Proof) }},
	{"limits", func(o *object, n string, s *question.RigState) { some(o, n, s.Limits) }},
	{"demoted", func(o *object, n string, s *question.RigState) { named(o, n, s.Demoted) }},
	{"parted", func(o *object, n string, s *question.RigState) { named(o, n, s.Parted) }},
	{"beside", func(o *object, n string, s *question.RigState) { o.axes(n, s.Beside) }},
	{"disproved", func(o *object, n string, s *question.RigState) { rare(o, n, s.Disproved) }},
	{"unlisted", func(o *object, n string, s *question.RigState) { rare(o, n, s.Unlisted) }},
	{"refused", func(o *object, n string, s *question.RigState) { named(o, n, s.Refused) }},
	{"doubt", func(o *object, n string, s *question.RigState) { o.optional(n, s.Doubt) }},
	{"doubt_of", func(o *object, n string, s *question.RigState) { o.optional(n, string(s.DoubtOf)) }},
	{"zero", func(o *object, n string, s *question.RigState) { o.zero(n, s.Zero) }},
	{"anchor", func(o *object, n string, s *question.RigState) { o.sample(n, s.Anchor) }},
	{"anchored", func(o *object, n string, s *question.RigState) { list(o, n, s.Anchored, (*object).candidate) }},
	{"lacking", func(o *object, n string, s *question.RigState) { rare(o, n, s.Lacking) }},
	{"side_told", func(o *object, n string, s *question.RigState) { rare(o, n, s.SideTold) }},
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
	o.optional("solve", c.Solve)
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
			zero := h.CountZero[source]
			o.openGiven(string(source))
			o.angles(&zero)
			o.end()
		}
		o.end()
	}
	o.end()
}

func (o *object) zero(name string, z *rig.Zero) {
	if z == nil {
		return
	}
	o.open(name)
	o.text("kind", string(z.Kind))
	o.yes("south", z.South)
	o.pair("home", z.Home)
	o.text("homed_by", string(z.HomedBy))
	o.end()
}

func (o *object) mark(m *question.SampleMark) {
	o.time("time", m.Time)
	o.text("doing", string(m.Doing))
	o.pair("axes", m.Axes)
	o.either("known", m.Known)
	o.sky("belief", m.Belief)
}

func (o *object) sample(name string, s *question.Sample) {
	if s == nil {
		return
	}
	o.open(name)
	o.known("time", s.Time)
	o.known("received", s.Received)
	o.known("read", s.Read)
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
	o.optional("unbelieved", s.Unbelieved)
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
