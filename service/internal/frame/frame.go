// Package frame holds vectors and rotations that know in which coordinate frame they are written, so that the compiler
// refuses to add a direction on the sky to a point of the rig.
//
// Frames (all right-handed):
//
//	Rig   x east, y north, z up, millimetres; origin on the ground below the point of axis 1 nearest axis 2
//	Site  the same directions, one origin for all rigs of a site
//	ICRS  the celestial reference system: x toward right ascension 0, z toward declination +90°
//	Date  true equator and equinox of date, axes as in ICRS
//	Hour  x where the meridian meets the equator (h = 0), y east on the equator (h = -90°), z the celestial pole
//
// A unit vector of Rig or Site is a horizon direction: azimuth 0 is y, 90° is x, altitude 90° is z. The package knows no
// time, no refraction and no mount: those make the rotations between the frames elsewhere.
package frame

import (
	"math"

	"keepclear.example/keepclear/service/internal/unit"
)

// The frames, as type arguments. They have no values.
type (
	// Rig is the frame of one rig.
	Rig struct{}
	// Site is the frame common to the rigs of a site.
	Site struct{}
	// ICRS is the celestial reference system.
	ICRS struct{}
	// Date is the true equator and equinox of date.
	Date struct{}
	// Hour is the local hour-angle frame.
	Hour struct{}
)

// Vec is a vector written in frame F. Points of Rig and Site are in millimetres; directions have length 1.
type Vec[F any] struct{ X, Y, Z float64 }

// Add returns a + b.
func (a Vec[F]) Add(b Vec[F]) Vec[F] { return Vec[F]{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Sub returns a - b.
func (a Vec[F]) Sub(b Vec[F]) Vec[F] { return Vec[F]{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Scale returns k·a.
func (a Vec[F]) Scale(k float64) Vec[F] { return Vec[F]{k * a.X, k * a.Y, k * a.Z} }

// Dot returns the scalar product.
func (a Vec[F]) Dot(b Vec[F]) float64 { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }

// Cross returns the right-handed vector product.
func (a Vec[F]) Cross(b Vec[F]) Vec[F] {
	return Vec[F]{a.Y*b.Z - a.Z*b.Y, a.Z*b.X - a.X*b.Z, a.X*b.Y - a.Y*b.X}
}

// Norm returns the length.
func (a Vec[F]) Norm() float64 { return math.Sqrt(a.Dot(a)) }

// Unit returns the direction of a; the zero vector, which has none, is returned as it is.
func (a Vec[F]) Unit() Vec[F] {
	n := a.Norm()
	if n == 0 {
		return a
	}
	return a.Scale(1 / n)
}

// Finite tells whether no component is NaN or infinite.
func (a Vec[F]) Finite() bool {
	s := a.X + a.Y + a.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

// Angle returns the angle between two directions, [0, 180°], accurate also near 0 and 180°; 0 where either is zero.
// Source: the atan2 form, as in SOFA's sepp.
func (a Vec[F]) Angle(b Vec[F]) unit.Angle {
	return unit.Angle(math.Atan2(a.Cross(b).Norm(), a.Dot(b)))
}

// FromLonLat makes a direction from a longitude counted from x toward y and a latitude toward z.
func FromLonLat[F any](lon, lat unit.Angle) Vec[F] {
	return Vec[F]{lon.Cos() * lat.Cos(), lon.Sin() * lat.Cos(), lat.Sin()}
}

// LonLat returns the longitude counted from x toward y, [0, 360°), and the latitude, [-90°, 90°], of a direction of any
// length. At the poles and for the zero vector the longitude is 0.
func (a Vec[F]) LonLat() (lon, lat unit.Angle) {
	r := math.Hypot(a.X, a.Y)
	if r == 0 && a.Z == 0 {
		return 0, 0
	}
	if r > 0 {
		lon = unit.Angle(math.Atan2(a.Y, a.X)).Positive()
	}
	return lon, unit.Angle(math.Atan2(a.Z, r))
}

// Horizon makes a direction from an azimuth, north through east, and an altitude.
func Horizon[F any](az, alt unit.Angle) Vec[F] {
	return Vec[F]{az.Sin() * alt.Cos(), az.Cos() * alt.Cos(), alt.Sin()}
}

// AzAlt returns the azimuth, north through east, [0, 360°), and altitude, [-90°, 90°], of a direction of any length. At the
// zenith, the nadir and for the zero vector the azimuth is 0.
func AzAlt[F any](v Vec[F]) (az, alt unit.Angle) {
	r := math.Hypot(v.X, v.Y)
	if r == 0 && v.Z == 0 {
		return 0, 0
	}
	if r > 0 {
		az = unit.Angle(math.Atan2(v.X, v.Y)).Positive()
	}
	return az, unit.Angle(math.Atan2(v.Z, r))
}

// Altitude returns the altitude of a direction of any length, [-90°, 90°]; 0 of the zero vector.
func Altitude[F any](v Vec[F]) unit.Angle { return unit.Angle(math.Atan2(v.Z, math.Hypot(v.X, v.Y))) }

// FromHour makes a direction from an hour angle, west positive, and a declination.
func FromHour(h, dec unit.Angle) Vec[Hour] { return FromLonLat[Hour](-h, dec) }

// HourDec returns the hour angle, west positive, [-180°, 180°), and the declination, [-90°, 90°].
func HourDec(v Vec[Hour]) (h, dec unit.Angle) {
	lon, lat := v.LonLat()
	return (-lon).Wrapped(), lat
}

// Rot turns vectors written in From into the same vectors written in To; with From = To it turns the vectors themselves.
// The rows are the axes of To written in From.
type Rot[To, From any] struct{ M [3][3]float64 }

// Identity returns the rotation that changes nothing.
func Identity[F any]() Rot[F, F] { return Rot[F, F]{[3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}} }

// Apply returns v written in To.
func (r Rot[To, From]) Apply(v Vec[From]) Vec[To] {
	m := &r.M
	return Vec[To]{
		m[0][0]*v.X + m[0][1]*v.Y + m[0][2]*v.Z,
		m[1][0]*v.X + m[1][1]*v.Y + m[1][2]*v.Z,
		m[2][0]*v.X + m[2][1]*v.Y + m[2][2]*v.Z,
	}
}

// Inverse returns the rotation back.
func (r Rot[To, From]) Inverse() Rot[From, To] {
	var out Rot[From, To]
	for i := range 3 {
		for j := range 3 {
			out.M[i][j] = r.M[j][i]
		}
	}
	return out
}

// Then returns the rotation that applies first, then second.
func Then[C, B, A any](first Rot[B, A], second Rot[C, B]) Rot[C, A] {
	var out Rot[C, A]
	for i := range 3 {
		for j := range 3 {
			out.M[i][j] = second.M[i][0]*first.M[0][j] + second.M[i][1]*first.M[1][j] + second.M[i][2]*first.M[2][j]
		}
	}
	return out
}

// About turns vectors of one frame by an angle about a unit axis, by the right-hand rule.
// Source: Rodrigues' formula (Goldstein, Classical Mechanics, 3rd ed. 2002, eq. 4.62).
func About[F any](axis Vec[F], angle unit.Angle) Rot[F, F] {
	s, c := math.Sincos(float64(angle))
	t, x, y, z := 1-c, axis.X, axis.Y, axis.Z
	return Rot[F, F]{[3][3]float64{
		{c + t*x*x, t*x*y - s*z, t*x*z + s*y},
		{t*x*y + s*z, c + t*y*y, t*y*z - s*x},
		{t*x*z - s*y, t*y*z + s*x, c + t*z*z},
	}}
}

// SiteFromHour returns the rotation from the hour-angle frame to the horizon (east, north, up) at a latitude, north positive.
// Derived: the pole stands at altitude lat above north, the meridian's point of the equator at 90° - lat above south.
func SiteFromHour[S Rig | Site](lat unit.Angle) Rot[S, Hour] {
	s, c := math.Sincos(float64(lat))
	return Rot[S, Hour]{[3][3]float64{{0, 1, 0}, {-s, 0, c}, {c, 0, s}}}
}

// Motion is a rigid motion within one frame: v goes to R·v + T.
type Motion[F any] struct {
	R Rot[F, F]
	T Vec[F]
}

// Still returns the motion that moves nothing.
func Still[F any]() Motion[F] { return Motion[F]{R: Identity[F]()} }

// Turning returns the motion that turns about the line through a fixed point along the unit vector axis, by the right-hand rule.
func Turning[F any](fixed, axis Vec[F], angle unit.Angle) Motion[F] {
	r := About(axis, angle)
	return Motion[F]{R: r, T: fixed.Sub(r.Apply(fixed))}
}

// Point returns where a point goes.
func (m Motion[F]) Point(v Vec[F]) Vec[F] { return m.R.Apply(v).Add(m.T) }

// Dir returns where a direction goes.
func (m Motion[F]) Dir(v Vec[F]) Vec[F] { return m.R.Apply(v) }

// Before returns the motion that does m first, then next.
func (m Motion[F]) Before(next Motion[F]) Motion[F] {
	return Motion[F]{R: Then(m.R, next.R), T: next.R.Apply(m.T).Add(next.T)}
}
