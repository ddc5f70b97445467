package season

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Score is what a gate made of one night.
type Score struct {
	Lot    Lot
	Gate   string
	Asked  []Asked
	Ends   []End // slews that ended off their intended axes by more than a degree, after a sync was taken
	Visits int   // a person had to come
	Missed int   // motions not allowed
	Slews  int
	Ended  string // what was wrong and still lasted at the end
	Lines  []string
	missed int
	taken  bool  // a sync was taken since the last homing
	from   Asked // the accepted solve that did the most to belief since homing
	keep   bool  // the lines
}

// Asked is one solve that was asked about.
type Asked struct {
	At        time.Time
	Picture   int
	Mechanism string  // by which it is false; empty: by none
	Off       float64 // of the solve from where the camera truly looked, degrees
	True      bool    // it says where the camera truly looked within 2′, and clocks, site and frame are right
	Sound     bool    // and the pose is right, and nothing struck the rig that nobody saw to
	Verdict   verdict.Verdict
	Codes     []string // of the findings that did not pass, rule and word
	Sentence  string   // of the gravest
	Cloud     bool
	Doubt     bool   // the pose was not known for certain
	First     bool   // none was accepted since the last homing
	Faults    string // that lasted
	// After an accepted one:
	Before   float64    // error of the mount's belief over the ground before it, degrees
	Belief   float64    // the same after it
	Each     [2]float64 // in hour angle (on the sky) and declination
	Pose     float64    // by how much the service has the axes wrong, degrees; 0 with gates that hold none
	Clock    float64    // degrees that wrong clocks are worth
	Site     float64    // degrees by which the site is wrong
	Alike    bool       // in rig file and mount alike, which no solve shows
	Turned   bool       // axes turned unseen between the picture and the answer, which no solve shows
	Attested bool
}

// Accepted tells whether the mount was told to take it.
func (a *Asked) Accepted() bool { return a.Verdict == verdict.Allow }

// End is where an allowed slew ended.
type End struct {
	At   time.Time
	Off  [2]float64 // of the true axes from those intended, degrees
	Lost [2]float64 // what of it the counters do not know of: a slip, not a sync
	From Asked      // the accepted solve that did most to belief
}

// Bounds by which a solve counts as true.
const (
	trueWithin  = 2 * unit.Arcminute
	clockWithin = 20 * time.Second
	siteWithin  = 0.1 // degrees
)

// wrongClocks is what the clocks that are wrong amount to, degrees; 0: they are right.
func (n *night) wrongClocks() float64 {
	worst := max(n.mount.ClockAhead.Abs(), n.skew.Abs())
	if worst <= clockWithin {
		return 0
	}
	return worst.Seconds() * question.SiderealRate.Deg()
}

// wrongSite is by how much the mount's site, or the rig file's, is wrong, degrees; 0: they are right.
func (n *night) wrongSite() float64 {
	truth := n.real.Site
	worst := max((n.mount.Site.Lon - truth.Lon).Wrapped().Abs().Deg(), (n.mount.Site.Lat - truth.Lat).Abs().Deg(), (n.rig.Site.Lon - truth.Lon).Wrapped().Abs().Deg())
	if worst <= siteWithin {
		return 0
	}
	return worst
}

// wrongAlike tells whether rig file and mount have the same wrong longitude.
func (n *night) wrongAlike() bool {
	return n.wrongSite() > 0 && n.mount.Site.Lon == n.rig.Site.Lon && n.mount.Site.Lat == n.real.Site.Lat
}

// poseNow is the pose that the service holds; nothing with gates that hold none.
func (n *night) poseNow() (p question.Pose) {
	if n.d != nil {
		p, _ = n.d.Where(n.rig.ID, n.clock()) // no error but that the rig is not known
	}
	return p
}

// poseError is by how much the service has the axes wrong, degrees: 180 where it does not know.
func (n *night) poseError() float64 {
	p := n.poseNow()
	switch {
	case n.d == nil:
		return 0
	case len(p.Candidates) == 0:
		return 180
	}
	return p.Candidates[0].Axes.Sub(n.mount.Axes(n.now)).Abs().Max().Deg()
}

// lasts names what is wrong and lasts.
func (n *night) lasts() (out string) {
	add := func(is bool, what string) {
		if is && out != "" {
			out += ", "
		}
		if is {
			out += what
		}
	}
	add(n.wrongClocks() > 0, "clock")
	add(n.wrongSite() > 0, "site")
	add(n.mixesFrames, "frames")
	add(n.physical, "axes turned unseen")
	add(n.kicked, "tripod kicked")
	add(n.mount.SyncMissed > 0, "syncs not taken as told")
	add(n.mount.Averages > 0, "syncs averaged")
	return out
}

// asked notes a solve that was asked about, after the mount did what was allowed.
func (s *Score) asked(n *night, c *claim, a decide.Answer) {
	if n.quiet {
		return
	}
	v := Asked{
		At: n.now, Picture: c.n, Mechanism: c.mechanism, Verdict: a.Verdict, Faults: n.lasts(), Clock: n.wrongClocks(), Site: n.wrongSite(), Alike: n.wrongAlike(),
		Turned: n.physical && n.turned.After(c.mid),
		Pose:   n.poseError(), Attested: n.lot.Species.Attested, Cloud: n.stars(n.now) < 1, First: !s.taken, Before: n.before,
		Doubt: n.d != nil && n.poseState != question.Known,
	}
	ra, dec := n.ofDate(c.solve.Sky)
	tra, tdec := n.ofDate(question.Sky{RA: c.ra, Dec: c.dec, Frame: question.ICRS})
	off := apart(ra, dec, tra, tdec)
	v.Off = off.Deg()
	v.True = c.mechanism == "" && off <= trueWithin && v.Clock == 0 && v.Site == 0 && !n.mixesFrames
	v.Sound = v.True && !n.physical && !n.kicked
	for _, f := range a.Findings {
		if f.Effect == verdict.Holds || f.Effect == verdict.Denies {
			v.Codes = append(v.Codes, f.Rule+" "+f.Code)
			if v.Sentence == "" {
				v.Sentence = f.Sentence
			}
		}
	}
	if a.Verdict == verdict.Allow {
		s.accepted(n, &v)
	}
	s.Asked = append(s.Asked, v)
	s.say(n.now, "%s", v.String())
}

// accepted adds what the sync did to belief.
func (s *Score) accepted(n *night, v *Asked) {
	off, each := n.mount.BeliefError(n.now)
	v.Belief, v.Each = off.Deg(), [2]float64{each[0].Deg(), each[1].Deg()}
	if !s.taken || v.Belief > s.from.Belief {
		s.from = *v
	}
	s.taken = true
}

// String is the line of a solve.
func (a *Asked) String() string {
	what := "true solve"
	switch {
	case a.Mechanism != "":
		what = fmt.Sprintf("FALSE solve (%s, %.2f° off)", a.Mechanism, a.Off)
	case !a.True:
		what = fmt.Sprintf("solve (%s)", a.Faults)
	case !a.Sound:
		what = fmt.Sprintf("true solve (%s)", a.Faults)
	}
	out := fmt.Sprintf("%s: %s", what, a.Verdict)
	if a.Accepted() {
		out += fmt.Sprintf(", belief %.3f° off over the ground", a.Belief)
		if a.Pose > 1 {
			out += fmt.Sprintf(", pose %.1f° off", a.Pose)
		}
	}
	for _, r := range a.Codes {
		out += ", " + r
	}
	if a.Sentence != "" {
		out += ": " + a.Sentence
	}
	return out
}

// homed notes a homing: what syncs did to belief is undone.
func (s *Score) homed(n *night) { s.taken, s.from = false, Asked{} }

// visit notes that a person has to come.
func (s *Score) visit(at time.Time, why string) {
	s.Visits++
	s.say(at, "a person is called: %s", why)
}

// motion notes the answer to a motion.
func (s *Score) motion(n *night, act question.Action, a decide.Answer) {
	if n.quiet || a.Verdict == verdict.Allow {
		return
	}
	s.Missed++
	s.say(n.now, "%s: %s: %s", act.Kind, a.Verdict, a.Sentence)
}

// nearMeridian is how near the meridian either side is lawful.
const nearMeridian = 5 * unit.Degree

// arrived holds where a slew ended against where it was meant to: the axes of the target by the true clock and site.
func (n *night) arrived(to place) {
	if n.quiet {
		return
	}
	s := n.score
	s.Slews++
	m, err := moment(n.now)
	if err != nil {
		return
	}
	air := n.real.Air()
	ms := rig.MountSky{Sidereal: m.SiderealTime(n.real.Site.Lon), Lat: n.real.Site.Lat, Lift: air.Observed, Sink: air.True}
	at := n.mount.Axes(n.now)
	h := (ms.Sidereal - to.ra).Wrapped()
	off := intended(n.rig, ms, to, n.rig.SidesFor("", h)[0], at)
	if h.Abs() < nearMeridian {
		if o := intended(n.rig, ms, to, n.rig.SidesFor("", h)[0].Other(), at); o.Max() < off.Max() && n.rig.Kind == rig.German {
			off = o
		}
	}
	if !s.taken || off.Max().Deg() < 1 {
		return
	}
	lost := n.mount.Lost(n.now).Sub(n.mount.Index).Abs()
	e := End{n.now, [2]float64{off.A1.Deg(), off.A2.Deg()}, [2]float64{lost.A1.Deg(), lost.A2.Deg()}, s.from}
	s.Ends = append(s.Ends, e)
	s.say(n.now, "slew ends %.1f°, %.1f° off its intended axes", e.Off[0], e.Off[1])
}

// intended is how far axes lie from those of a target.
func intended(r *rig.Rig, ms rig.MountSky, to place, side rig.Side, at rig.Axes) rig.Axes {
	return rig.LiftNear(r.Map(ms, to.ra, to.dec, side), at).Sub(at).Abs()
}

// BySync is the greatest angle by which an end is off without what the counters do not know of.
func (e End) BySync() float64 {
	return math.Max(e.Off[0]-e.Lost[0], e.Off[1]-e.Lost[1])
}

// say adds a line to the story.
func (s *Score) say(at time.Time, format string, args ...any) {
	if s.keep {
		s.Lines = append(s.Lines, at.UTC().Format("15:04:05 ")+fmt.Sprintf(format, args...))
	}
}
