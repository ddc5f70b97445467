package sky

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
)

// aberrated returns a direction as seen by an observer who moves with velocity v, in units of the speed of light.
// Source: Explanatory Supplement, 3rd ed. 2013, chapter 7 (the Sun's potential, 0.4 µas, left out).
func aberrated[F any](p, v frame.Vec[F]) frame.Vec[F] {
	inverseGamma := math.Sqrt(1 - v.Dot(v))
	pv := p.Dot(v)
	return p.Scale(inverseGamma).Add(v.Scale(1 + pv/(1+inverseGamma))).Unit()
}

// bent returns the direction of a star whose light passes the Sun, which stands at sun, in au.
// Source: Explanatory Supplement, 3rd ed. 2013, chapter 7, for a body at infinity. Behind the Sun's disc, where it would have no
// bound, it keeps the size at the limb, 1.75″ / sun's distance.
func bent(p, sun frame.Vec[frame.ICRS]) frame.Vec[frame.ICRS] {
	const (
		twiceSunRadius = 1.97412574336e-8 // 2GM/c², au; source: IAU 2009 system of constants, GM of the Sun
		sunDisc        = 0.00465          // radius of the Sun, au; source: IAU 2015 resolution B3, 695,700 km
	)
	distance := sun.Norm()
	e := sun.Scale(-1 / distance)                         // from the Sun to the Earth
	limb := sunDisc * sunDisc / (2 * distance * distance) // 1 + p·e at the limb
	g := twiceSunRadius / distance / math.Max(1+p.Dot(e), limb)
	return p.Add(e.Sub(p.Scale(p.Dot(e))).Scale(g)).Unit()
}
