package state

import (
	"strconv"

	"keepclear.example/keepclear/service/internal/question"
)

// Questions, and the leave that answers give.

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
	o.reals("end_s", p.EndS)
	o.either("tracks", p.Tracks)
	o.optional("homing", p.Homing)
	o.optional("source", string(p.Source))
	some(o, "parts", p.Parts)
	list(o, "legs", p.Legs, (*object).leg)
	if p.Closest != nil {
		o.open("closest")
		o.clearance(p.Closest)
		o.end()
	}
	o.instant("begun_at", p.BegunAt)
	o.instant("withdrawn_at", p.WithdrawnAt)
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
