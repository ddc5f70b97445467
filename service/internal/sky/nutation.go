package sky

import (
	"math"

	"keepclear.example/keepclear/service/internal/unit"
)

// nutation is the nutation in longitude and obliquity, and what each gains in a century.
type nutation struct{ psi, eps, psiRate, epsRate unit.Angle }

// after returns the nutation t centuries later, taken as linear. The largest curvature is 0.07″/d² (terms of 13.7 and 9.1 days),
// so that a day costs 0.035″.
func (n nutation) after(t float64) nutation {
	n.psi += n.psiRate * unit.Angle(t)
	n.eps += n.epsRate * unit.Angle(t)
	return n
}

// newNutation sums the series at t centuries of TT since J2000.0.
// Source: McCarthy & Luzum 2003, Celest. Mech. Dyn. Astron. 85, 37: 1 mas against IAU 2000A from 1995 to 2050.
func newNutation(t float64) nutation {
	// Offsets that stand for the planetary terms, mas. Source: ibid.
	const psiPlanets, epsPlanets = -0.135, 0.388
	args, rates := delaunay(t)
	var psi, eps, psiRate, epsRate float64
	for n := len(nutationTerms) - 1; n >= 0; n-- { // the small ones first
		c := &nutationTerms[n]
		s, k := math.Sincos(c.l*args[0] + c.lp*args[1] + c.f*args[2] + c.d*args[3] + c.om*args[4])
		w := c.l*rates[0] + c.lp*rates[1] + c.f*rates[2] + c.d*rates[3] + c.om*rates[4]
		ps, ec := c.psiSin+c.psiSinT*t, c.epsCos+c.epsCosT*t
		psi += ps*s + c.psiCos*k
		eps += ec*k + c.epsSin*s
		psiRate += w*(ps*k-c.psiCos*s) + c.psiSinT*s
		epsRate += w*(c.epsSin*k-ec*s) + c.epsCosT*k
	}
	const tenthMicroarcsec = unit.Arcsecond / 1e7
	return nutation{
		psi:     unit.Angle(psi)*tenthMicroarcsec + psiPlanets*unit.Arcsecond/1000,
		eps:     unit.Angle(eps)*tenthMicroarcsec + epsPlanets*unit.Arcsecond/1000,
		psiRate: unit.Angle(psiRate) * tenthMicroarcsec,
		epsRate: unit.Angle(epsRate) * tenthMicroarcsec,
	}
}

// delaunay returns l, l', F, D and Ω in radians and their gain in a century, at t centuries of TT since J2000.0.
// Source: Simon et al. 1994, Astron. Astrophys. 282, 663, linear terms, as IAU 2000B uses them.
func delaunay(t float64) (args, rates [5]float64) {
	at0 := [5]float64{485868.249036, 1287104.79305, 335779.526232, 1072260.70369, 450160.398036} // arcsec
	gain := [5]float64{1717915923.2178, 129596581.0481, 1739527262.8478, 1602961601.2090, -6962890.5431}
	for n := range args {
		args[n] = math.Mod(at0[n]+gain[n]*t, 1296000) * float64(unit.Arcsecond)
		rates[n] = gain[n] * float64(unit.Arcsecond)
	}
	return args, rates
}
