package slow

import "math"

// Pointing is what earlier solves taught of the mount's errors: the pointing model of the one telescope. Terms, in order: index of axis 1 and 2,
// cone, axes off the right angle, axis 1 off about east and about the third direction, flexure of the tube, flexure of axis 2 or of a
// fork's arms. What each does is written here anew, from the words of service/internal/pointing; what a little of it does is tried, not derived.
type Pointing struct {
	Fit
	Settled *Fit
	Runs    [4]float64 // across up and down, along up and down
	Taken   float64    // radians, of shifts that two pictures agreed on
	Count   int
	Quiet   int // in a row that lay where they were expected
}

// Fit is the terms, radians, and their covariance.
type Fit struct {
	Terms [8]float64
	Cov   [8][8]float64
}

// PointingPrior is what is known of a mount of which nothing is.
func PointingPrior() Pointing {
	var p Pointing
	for i, arcmin := range [8]float64{60, 60, 30, 6, 30, 30, 4, 4} {
		p.Cov[i][i] = math.Pow(arcmin/60*degree, 2)
	}
	return p
}

// Expects is where the tube is expected to look at a pose, as a pose of a perfect mount.
func (r *Rig) Expects(p *Pointing, a Axes) Axes {
	return r.aim(r.looks(p.Terms, a), r.side(a)).near(a)
}

// looks is where the tube looks at a pose with all errors.
func (r *Rig) looks(t [8]float64, a Axes) V {
	// Turns compose from the ground up: how axis 1 leans, axis 1, the missing right angle, axis 2, and the optics on the tube.
	east := V{1, 0, 0}
	east = east.sub(r.d1.times(east.dot(r.d1))).unit()
	third := r.d1.cross(east)
	v := r.tube.turned(r.tube.cross(r.d2), t[2]).turned(r.d2, a[1]+t[1]).turned(r.d1.cross(r.d2), t[3]).turned(r.d1, a[0]+t[0])
	if lean := math.Hypot(t[4], t[5]); lean > 0 {
		v = v.turned(east.times(t[4]).add(third.times(t[5])).unit(), lean)
	}
	shaft, down := r.d2.turned(r.d1, a[0]), V{0, 0, -1}
	sinks := V{}
	switch r.Kind {
	case German:
		sinks = shaft.cross(down)
	case Fork:
		sinks = shaft.times(down.dot(r.d1.cross(shaft)))
	}
	fall := down.sub(v.times(down.dot(v)))
	return v.add(sinks.cross(v).times(t[7])).add(fall.times(t[6])).unit()
}

// sighted is a direction held against what is expected: off across and along, and how that scatters by the terms.
type sighted struct {
	off     [2]float64
	scatter [2][2]float64
	slopes  [2][8]float64
	axis1   [2]float64 // what a turn of axis 1 does
}

func (r *Rig) sighted(f *Fit, pose Axes, seen V) sighted {
	sight := r.looks(f.Terms, pose)
	shaft := r.d2.turned(r.d1, pose[0])
	across := shaft.sub(sight.times(shaft.dot(sight))).unit()
	along := across.cross(sight)
	split := func(v V) [2]float64 { return [2]float64{v.dot(across), v.dot(along)} }
	var s sighted
	if away := seen.sub(sight.times(seen.dot(sight))); away.norm() > 0 {
		s.off = split(away.times(sight.angle(seen) / away.norm()))
	}
	const step = 1e-5
	change := func(up, down V) [2]float64 { return split(up.sub(down).times(1 / (2 * step))) }
	for i := range f.Terms {
		up, down := f.Terms, f.Terms
		up[i] += step
		down[i] -= step
		d := change(r.looks(up, pose), r.looks(down, pose))
		s.slopes[0][i], s.slopes[1][i] = d[0], d[1]
	}
	s.axis1 = change(sight.turned(r.d1, step), sight.turned(r.d1, -step))
	s.scatter = spread(s.slopes, f)
	return s
}

func spread(slopes [2][8]float64, f *Fit) (out [2][2]float64) {
	for a := range 2 {
		for b := range 2 {
			for i := range 8 {
				for j := range 8 {
					out[a][b] += slopes[a][i] * f.Cov[i][j] * slopes[b][j]
				}
			}
		}
	}
	return out
}

// bounded cuts the principal standard deviations of a scatter to at most so much: along each of two directions at right angles, the one in which it
// is widest among them.
func bounded(c [2][2]float64, most float64) (out [2][2]float64) {
	turn := math.Atan2(2*c[0][1], c[0][0]-c[1][1]) / 2
	for _, by := range []float64{turn, turn + math.Pi/2} {
		way := [2]float64{math.Cos(by), math.Sin(by)}
		v := 0.0
		for a := range 2 {
			for b := range 2 {
				v += way[a] * c[a][b] * way[b]
			}
		}
		for a := range 2 {
			for b := range 2 {
				out[a][b] += min(v, most*most) * way[a] * way[b]
			}
		}
	}
	return out
}

const leftOut = 2.0 / 60 * degree // what the terms leave out, each way

func plain(c [2][2]float64, times float64) [2][2]float64 {
	c[0][0] += times * leftOut * leftOut
	c[1][1] += times * leftOut * leftOut
	return c
}

// distance is the squared distance in sigmas.
func distance(off [2]float64, c [2][2]float64) float64 {
	det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
	return (off[0]*off[0]*c[1][1] - off[0]*off[1]*(c[0][1]+c[1][0]) + off[1]*off[1]*c[0][0]) / det
}

const mostPosed = 2.0 / 60 * degree // what the pose may excuse, each way, once much was learnt

// posed adds what the places leave open of the pose; once the model had settled that excuses little.
func (s *sighted) posed(c [2][2]float64, sigma Axes, settled bool) [2][2]float64 {
	var own [2][2]float64
	for a := range 2 {
		for b := range 2 {
			own[a][b] = sigma[0] * sigma[0] * s.axis1[a] * s.axis1[b]
		}
	}
	own[1][1] += sigma[1] * sigma[1]
	if settled {
		own = bounded(own, mostPosed)
	}
	for a := range 2 {
		for b := range 2 {
			c[a][b] += own[a][b]
		}
	}
	return c
}
