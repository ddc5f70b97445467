package sky

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// ecliptic is the mean ecliptic and equinox of date: x toward the equinox, z toward the pole of the ecliptic.
type ecliptic struct{}

// obliquity returns the mean obliquity of the ecliptic at t centuries of TT since J2000.0.
// Source: Hilton et al. 2006, Celest. Mech. Dyn. Astron. 94, 351 (IAU 2006 precession, P03).
func obliquity(t float64) unit.Angle {
	return unit.Arcsec(84381.406 + t*(-46.836769+t*(-0.0001831+t*(0.00200340+t*(-0.000000576+t*-0.0000000434)))))
}

// eclipticFromICRS returns frame bias and precession down to the ecliptic of date, in the angles of Fukushima and Williams.
// Source: Hilton et al. 2006, with the frame bias folded in as in Wallace & Capitaine 2006, Astron. Astrophys. 459, 981.
func eclipticFromICRS(t float64) frame.Rot[ecliptic, frame.ICRS] {
	gamma := unit.Arcsec(-0.052928 + t*(10.556378+t*(0.4932044+t*(-0.00031238+t*(-0.000002788+t*0.0000000260)))))
	phi := unit.Arcsec(84381.412819 + t*(-46.811016+t*(0.0511268+t*(0.00053289+t*(-0.000000440+t*-0.0000000176)))))
	psi := unit.Arcsec(-0.041775 + t*(5038.481484+t*(1.5584175+t*(-0.00018522+t*(-0.000026452+t*-0.0000000148)))))
	return frame.Then(frame.Then(
		aboutZ[frame.ICRS, frame.ICRS](gamma),
		aboutX[frame.ICRS, frame.ICRS](phi)),
		aboutZ[ecliptic, frame.ICRS](-psi))
}

// dateFromEcliptic returns the nutation and the step from the ecliptic to the true equator.
// Source: Wallace & Capitaine 2006, the rotations that follow those of eclipticFromICRS.
func dateFromEcliptic(t float64, n nutation) frame.Rot[frame.Date, ecliptic] {
	return frame.Then(
		aboutZ[ecliptic, ecliptic](-n.psi),
		aboutX[frame.Date, ecliptic](-obliquity(t)-n.eps))
}

// aboutZ returns the rotation of the axes by an angle about z, right-handed.
func aboutZ[To, From any](a unit.Angle) frame.Rot[To, From] {
	s, c := math.Sincos(float64(a))
	return frame.Rot[To, From]{M: [3][3]float64{{c, s, 0}, {-s, c, 0}, {0, 0, 1}}}
}

// aboutX returns the rotation of the axes by an angle about x, right-handed.
func aboutX[To, From any](a unit.Angle) frame.Rot[To, From] {
	s, c := math.Sincos(float64(a))
	return frame.Rot[To, From]{M: [3][3]float64{{1, 0, 0}, {0, c, s}, {0, -s, c}}}
}

// earthRotation returns the Earth rotation angle, [0, 2π).
// Source: Capitaine, Guinot & McCarthy 2000, Astron. Astrophys. 355, 398 (IERS Conventions 2010, eq. 5.15). The whole turns of the
// day are dropped beforehand, so that no digit is lost.
func earthRotation(ut1 timescale.JD) unit.Angle {
	d := ut1.Day - 2451545.0 + ut1.Fraction
	return unit.Angle(2 * math.Pi * (ut1.Fraction + 0.5 + 0.7790572732640 + 0.00273781191135448*d)).Positive()
}

// siderealTime returns Greenwich apparent sidereal time, [0, 2π).
// Source: Capitaine, Wallace & Chapront 2005, Astron. Astrophys. 432, 355 (mean sidereal time); IERS Conventions 2010,
// table 5.2e, its two largest terms (the next is 0.00001″), for the equation of the equinoxes.
func siderealTime(ut1 timescale.JD, t float64, n nutation) unit.Angle {
	mean := unit.Arcsec(0.014506 + t*(4612.156534+t*(1.3915817+t*(-0.00000044+t*(-0.000029956+t*-0.0000000368)))))
	args, _ := delaunay(t)
	om := args[4]
	equinoxes := n.psi*unit.Angle(obliquity(t).Cos()) + unit.Arcsec(0.00264096*math.Sin(om)+0.00006352*math.Sin(2*om))
	return (earthRotation(ut1) + mean + equinoxes).Positive()
}
