// Package sky turns directions among the stars into directions over the ground, and back, at an instant.
//
// The chain: ICRS → (light bent by the Sun, annual aberration) → (frame bias, IAU 2006 precession, IAU 2000B nutation) → of
// date, the apparent place → (sidereal time) → hour angle → (latitude, diurnal aberration) → horizon, still without air →
// (Air) → observed. A Moment holds what depends on the instant alone; After moves it cheaply by up to a day. All is pure.
//
// Against ERFA, 1990 to 2050: stars and sidereal time within 0.06″, the Sun within 0.8″ (tests assert 1″ for each). What is left out
// counts against the same second of arc or is the caller's: polar motion (below 0.6″), the deflection of the vertical (latitude
// and longitude are the astronomical ones; the geodetic ones of a map differ by a few seconds of arc, rarely by 60″),
// proper motion and parallax (they belong to the target), UT1 (13.5″ where nobody states it), planets, and the Moon.
//
// A mount that goes by a sidereal time of its own stands, for Hour, at the longitude (its sidereal time - SiderealTime(0)).
//
// Vectors carry their frame; angles are radians, azimuth from north through east, hour angle positive west, longitude
// positive east. Numbers that are not finite come out as NaN, never as a place.
package sky
