package slow

import "math"

// V is a vector: east, north, up.
type V [3]float64

func (a V) add(b V) V         { return V{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a V) sub(b V) V         { return V{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a V) times(k float64) V { return V{a[0] * k, a[1] * k, a[2] * k} }
func (a V) dot(b V) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a V) norm() float64     { return math.Sqrt(a.dot(a)) }
func (a V) cross(b V) V {
	return V{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
func (a V) unit() V           { return a.times(1 / a.norm()) }
func (a V) angle(b V) float64 { return math.Atan2(a.cross(b).norm(), a.dot(b)) }
func horizontal(az, alt float64) V {
	return V{math.Cos(alt) * math.Sin(az), math.Cos(alt) * math.Cos(az), math.Sin(alt)}
}

// azAlt is azimuth from north through east, [-π, π], and altitude.
func (a V) azAlt() (az, alt float64) {
	return math.Atan2(a[0], a[1]), math.Atan2(a[2], math.Hypot(a[0], a[1]))
}

// turned is a turned about a unit axis by the right hand (Rodrigues).
func (a V) turned(axis V, by float64) V {
	s, c := math.Sincos(by)
	return a.times(c).add(axis.cross(a).times(s)).add(axis.times(axis.dot(a) * (1 - c)))
}

// matrix is a rotation, row by row.
type matrix [3]V

func (m *matrix) of(v V) V { return V{m[0].dot(v), m[1].dot(v), m[2].dot(v)} }

// back is the rotation the other way.
func (m *matrix) back(v V) V { return m[0].times(v[0]).add(m[1].times(v[1])).add(m[2].times(v[2])) }

// turning is the rotation about a unit axis.
func turning(axis V, by float64) matrix {
	s, c := math.Sincos(by)
	a, side := axis.times(1-c), axis.times(s)
	return matrix{
		{a[0]*axis[0] + c, a[0]*axis[1] - side[2], a[0]*axis[2] + side[1]},
		{a[1]*axis[0] + side[2], a[1]*axis[1] + c, a[1]*axis[2] - side[0]},
		{a[2]*axis[0] - side[1], a[2]*axis[1] + side[0], a[2]*axis[2] + c},
	}
}

// after is the rotation m after n.
func (m matrix) after(n matrix) matrix {
	var out matrix
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j] + m[i][2]*n[2][j]
		}
	}
	return out
}

const degree = math.Pi / 180

// wrap brings an angle to [-π, π).
func wrap(a float64) float64 {
	a = math.Mod(a+math.Pi, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a - math.Pi
}

// near is the turn of a nearest to b.
func near(a, b float64) float64 { return b + wrap(a-b) }

// Axes is a pose: the angles of axis 1 and 2.
type Axes [2]float64

func (a Axes) add(b Axes) Axes   { return Axes{a[0] + b[0], a[1] + b[1]} }
func (a Axes) sub(b Axes) Axes   { return Axes{a[0] - b[0], a[1] - b[1]} }
func (a Axes) times(b Axes) Axes { return Axes{a[0] * b[0], a[1] * b[1]} }
func (a Axes) near(b Axes) Axes  { return Axes{near(a[0], b[0]), near(a[1], b[1])} }
func (a Axes) most() float64     { return max(math.Abs(a[0]), math.Abs(a[1])) }
