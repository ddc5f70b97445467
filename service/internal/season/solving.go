package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/unit"
)

// solving is what the night's camera and solver remember.
type solving struct {
	pictures int
	last     *claim // the picture judged last
	left     *claim // the last one before the last slew
	mid      *claim // what a picture taken in the middle of the last motion would show
	pattern  *spot  // hot pixels that match
	poisoned unit.Angle
}

// spot is what the next so many pictures show, whatever the tube does.
type spot struct {
	shows question.Solve
	left  int
}

// claim is one solve, and what is true of it.
type claim struct {
	solve     question.Solve
	mechanism string // by which it is false; empty: it is not
	ra, dec   unit.Angle
	mid       time.Time // of the exposure
	n         int
}

// exposure is how long every picture is exposed.
const exposure = 5 * time.Second

// picture takes a picture and solves it; nil: it does not solve.
func (n *night) picture(blind bool) (*claim, error) {
	if err := n.report(decide.Report{}); err != nil {
		return nil, err
	}
	n.to(n.now.Add(time.Second))
	start := n.now
	n.to(start.Add(exposure / 2))
	mid := n.now
	ra, dec, turn, ok := n.mount.Looks(mid)
	n.to(start.Add(exposure + 2*time.Second))
	if !ok {
		return nil, fmt.Errorf("%w: the sky of %s", errWorld, n.now)
	}
	n.pictures++
	g := stream(n.lot.Seed, uint64(1_000+n.pictures+100_000*n.earlier))
	c := &claim{ra: ra, dec: dec, mid: mid, n: n.pictures}
	left := n.stars(start)
	fails := n.table.chance(g, "failure")
	if cloudy := n.table.chance(g, "failure_cloud"); left < 1 {
		fails = cloudy
	}
	n.trueSolve(g, c, start, turn, left)
	n.searched(c, blind)
	m := n.falsely(g)
	if m == "" && (fails || !n.within(c, ra, dec)) {
		return nil, nil
	}
	if m != "" && !n.falsify(g, c, m) {
		return nil, nil
	}
	if n.mixesFrames {
		c.solve.Sky.Frame = question.OfDate
	}
	return c, nil
}

// stars is the share of the stars that clouds leave.
func (n *night) stars(at time.Time) float64 {
	if !n.quiet {
		for _, c := range n.lot.Solver.clouds {
			if at.After(c.from) && at.Before(c.until) {
				return c.left
			}
		}
	}
	return 1
}

// trueSolve fills in what a true solve of the picture says.
func (n *night) trueSolve(g *rand.Rand, c *claim, start time.Time, turn unit.Angle, left float64) {
	s, t := n.lot.Solver, n.table
	scatter := s.scatter * unit.Angle(math.Pow(n.airMass(), s.low)/math.Sqrt(left))
	matched := max(4, int(s.matched*left*(0.8+0.4*g.Float64())))
	pixel := unit.Arcsec(*n.rig.Optics[0].PixelArcsec * (1 + s.scale) * (1 + t.draw(g, "scale_scatter")))
	residual := pixel * unit.Angle(s.residual*(0.8+0.4*g.Float64()))
	width := unit.Deg(*n.rig.Optics[0].WidthDeg)
	rotation := (n.angle + turn + unit.Deg(t.draw(g, "rotation_scatter_deg"))).Positive()
	mirrored := s.handed
	ra, dec := moved(c.ra, c.dec, scatter*unit.Angle(math.Hypot(g.NormFloat64(), g.NormFloat64())), unit.Angle(2*math.Pi*g.Float64()))
	c.solve = question.Solve{
		Sky: question.Sky{RA: ra, Dec: dec, Frame: question.ICRS}, Start: start.Add(n.skew).Round(0), Exposure: exposure, Optics: n.rig.Optics[0].Name,
		Pixel: &pixel, Width: &width, Rotation: &rotation, Mirrored: &mirrored, Matched: &matched, Residual: &residual,
		Picture: fmt.Sprintf("picture-%d-%04d", n.earlier, n.pictures),
	}
}

// airMass is the plane-parallel air mass where the tube points, 10 at most. Textbook: 1 / cos z.
func (n *night) airMass() float64 {
	return 1 / max(0.1, frame.Altitude(n.real.Chain.Direction(n.mount.Axes(n.now))).Sin())
}

// searched puts how the solver searches: blind, or around where the mount believes that it points.
func (n *night) searched(c *claim, blind bool) {
	radius := unit.HalfTurn
	if !blind {
		radius = n.lot.Radius
		ra, dec, _ := n.mount.Belief(n.now)
		c.solve.Hint = &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}
	}
	c.solve.Radius = &radius
}

// within tells whether a place (ICRS) lies within the search.
func (n *night) within(c *claim, ra, dec unit.Angle) bool {
	if c.solve.Hint == nil {
		return true
	}
	of, od := n.ofDate(question.Sky{RA: ra, Dec: dec, Frame: question.ICRS})
	return apart(of, od, c.solve.Hint.RA, c.solve.Hint.Dec) <= *c.solve.Radius
}

// ofDate turns coordinates into those that the mount goes by.
func (n *night) ofDate(s question.Sky) (ra, dec unit.Angle) {
	m, err := moment(n.clock())
	if s.Frame == question.OfDate || err != nil {
		return s.RA, s.Dec
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}

// toICRS is the inverse of ofDate for coordinates of date.
func (n *night) toICRS(ra, dec unit.Angle) (unit.Angle, unit.Angle) {
	m, err := moment(n.now)
	if err != nil {
		return ra, dec
	}
	return m.ICRS(frame.FromLonLat[frame.Date](ra, dec)).LonLat()
}

// apart is the angle between two places.
func apart(ra, dec, ra2, dec2 unit.Angle) unit.Angle {
	return frame.FromLonLat[frame.ICRS](ra, dec).Angle(frame.FromLonLat[frame.ICRS](ra2, dec2))
}

// moved is a place moved by so much along a position angle (north through east). Textbook: the spherical triangle with the pole.
func moved(ra, dec, by, way unit.Angle) (unit.Angle, unit.Angle) {
	v := frame.FromLonLat[frame.ICRS](ra, dec)
	east := frame.Vec[frame.ICRS]{X: -ra.Sin(), Y: ra.Cos()}
	north := v.Cross(east)
	to := v.Scale(by.Cos()).Add(north.Scale(by.Sin() * way.Cos())).Add(east.Scale(by.Sin() * way.Sin()))
	ra2, dec2 := to.LonLat()
	return ra2.Positive(), dec2
}

// falsely draws by which mechanism a picture solves falsely; empty: by none.
func (n *night) falsely(g *rand.Rand) string {
	at, m := g.Float64(), n.table.word(g, "false_mechanisms")
	switch {
	case n.quiet:
		return ""
	case n.pattern != nil:
		return "pattern"
	case n.lot.Poison != nil && !n.now.Before(n.lot.Poison.from):
		return "poisoning"
	case n.lot.only == "poisoning":
		return ""
	case at < n.lot.False && n.lot.only != "":
		return n.lot.only
	case at < n.lot.False:
		return m
	}
	return ""
}

// falsify makes a solve false; false: such a one does not solve at all.
func (n *night) falsify(g *rand.Rand, c *claim, m string) bool {
	c.mechanism = m
	relabelled := n.table.chance(g, "stale_relabelled")
	switch m {
	case "poisoning":
		p := n.lot.Poison
		n.poisoned = min(n.poisoned+p.step, p.most)
		c.solve.Sky.RA, c.solve.Sky.Dec = moved(c.ra, c.dec, n.poisoned, p.direction)
		return n.within(c, c.solve.Sky.RA, c.solve.Sky.Dec)
	case "frames":
		c.solve.Sky.Frame = question.OfDate
		return true
	case "pattern":
		return n.fixed(g, c)
	case "stale":
		return n.old(g, c, n.left, relabelled)
	case "re-solved":
		return n.old(g, c, n.last, relabelled)
	case "moving":
		return n.old(g, c, n.mid, false)
	}
	n.anywhere(g, c)
	switch m {
	case "wrong scale":
		*c.solve.Pixel *= unit.Angle(1 + n.table.draw(g, "wrong_scale"))
	case "mirrored":
		*c.solve.Mirrored = !n.lot.Solver.handed
	}
	return true
}

// anywhere makes a match on noise: any place within the search, with figures that look well.
func (n *night) anywhere(g *rand.Rand, c *claim) {
	radius := *c.solve.Radius
	if c.mechanism == "within the hint" && c.solve.Hint == nil { // a blind solver whose index covers that part alone, say
		radius = n.lot.Radius
	}
	ra, dec := c.ra, c.dec
	if c.solve.Hint != nil {
		ra, dec = n.toICRS(c.solve.Hint.RA, c.solve.Hint.Dec)
	}
	off := unit.Angle(math.Acos(1 - g.Float64()*(1-radius.Cos()))) // each part of the sky within as likely
	c.solve.Sky.RA, c.solve.Sky.Dec = moved(ra, dec, off, unit.Angle(2*math.Pi*g.Float64()))
	n.falseFigures(g, c)
}

// falseFigures are those of a match on noise.
func (n *night) falseFigures(g *rand.Rand, c *claim) {
	t := n.table
	*c.solve.Matched = int(t.draw(g, "false_matched"))
	*c.solve.Rotation = unit.Angle(2 * math.Pi * g.Float64())
	kept, off := t.chance(g, "false_scale_kept"), t.draw(g, "false_scale")
	if !kept {
		*c.solve.Pixel *= unit.Angle(1 + off)
	}
	*c.solve.Residual = *c.solve.Pixel * unit.Angle(t.draw(g, "false_residual_pixel"))
	if !t.chance(g, "false_handed_right") {
		*c.solve.Mirrored = !*c.solve.Mirrored
	}
}

// fixed makes a pattern on the sensor match: the same place and the same figures, picture after picture.
func (n *night) fixed(g *rand.Rand, c *claim) bool {
	more := int(n.table.draw(g, "pattern_repeats"))
	if n.pattern == nil {
		n.anywhere(g, c)
		n.pattern = &spot{c.solve, more - 1}
		return true
	}
	p := n.pattern
	if p.left--; p.left <= 0 {
		n.pattern = nil
	}
	if !n.within(c, p.shows.Sky.RA, p.shows.Sky.Dec) {
		return false
	}
	was := c.solve
	c.solve = p.shows
	c.solve.Sky.RA, c.solve.Sky.Dec = moved(p.shows.Sky.RA, p.shows.Sky.Dec, n.lot.Solver.scatter, unit.Angle(2*math.Pi*g.Float64()))
	c.solve.Hint, c.solve.Radius, c.solve.Start, c.solve.Picture = was.Hint, was.Radius, was.Start, was.Picture
	return true
}

// old gives an older picture again: as it was, or under a new name and with a new time. Where there is none yet, it is a match on noise.
func (n *night) old(g *rand.Rand, c *claim, o *claim, relabelled bool) bool {
	if o == nil {
		c.mechanism = "within the hint"
		n.anywhere(g, c)
		return true
	}
	was := c.solve
	c.solve = o.solve
	c.solve.Hint, c.solve.Radius = was.Hint, was.Radius
	if relabelled {
		c.solve.Start, c.solve.Picture = was.Start, was.Picture
	}
	return true
}

// leaves notes what was pictured before a slew.
func (n *night) leaves() { n.left = n.last }

// midway notes what a picture in the middle of a motion would show.
func (n *night) midway() {
	ra, dec, turn, ok := n.mount.Looks(n.now)
	if !ok {
		return
	}
	c := &claim{ra: ra, dec: dec, mechanism: "moving"}
	n.trueSolve(stream(n.lot.Seed, uint64(5_000_000+n.pictures)), c, n.now.Add(-exposure/2), turn, 1)
	c.solve.Picture += "-moving"
	n.mid = c
}
