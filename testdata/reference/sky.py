#!/usr/bin/python3
"""Reference data for service/internal/timescale and service/internal/sky.

    /usr/bin/python3 testdata/reference/sky.py            write the tables beside this script
    /usr/bin/python3 testdata/reference/sky.py DIRECTORY  write them there, to be compared
    /usr/bin/python3 testdata/reference/sky.py --fit      print the coefficients of refraction for sky.newAir

Stars, Sun and sidereal time come from ERFA (Debian python3-erfa): IAU 2006/2000A, where the service has 2000B and a
short series for the Earth. Refraction is the numerical integration of rays (see ray). Places, dates and weather are invented:
seeded random numbers, and the awkward ones by hand. Every number is rounded, so that a second run gives the same bytes.
"""
import pathlib
import sys
import warnings

import erfa
import numpy as np
import scipy
from scipy.optimize import brentq, least_squares

warnings.simplefilter("ignore", erfa.ErfaWarning)  # "dubious year": leap seconds after 2028 are not known to ERFA either

AS = np.pi / 180 / 3600
AU = 149597870700.0  # m, IAU 2012 resolution B2
C = 299792458.0  # m/s


# --- time -------------------------------------------------------------------------------------------------------------


def utc_text(y, mo, d, h, mi, s):
    return f"{y:04d}-{mo:02d}-{d:02d}T{h:02d}:{mi:02d}:{s:06.3f}Z"


class Time:
    """One UTC reading with dut1; the scales as ERFA's two-part Julian dates."""

    def __init__(self, y, mo, d, h, mi, s, dut1):
        self.text, self.dut1 = utc_text(y, mo, d, h, mi, s), dut1
        self.utc = erfa.dtf2d("UTC", y, mo, d, h, mi, s)
        self.tt = erfa.taitt(*erfa.utctai(*self.utc))
        self.ut1 = erfa.utcut1(*self.utc, dut1)


def random_time(rng):
    jd = rng.uniform(erfa.cal2jd(1990, 1, 1)[1], erfa.cal2jd(2050, 12, 31)[1])
    y, mo, d, f = erfa.jd2cal(2400000.5, np.floor(jd))
    s = int(rng.integers(0, 86400))
    return Time(int(y), int(mo), int(d), s // 3600, s // 60 % 60, s % 60 + int(rng.integers(0, 1000)) / 1000,
                round(rng.uniform(-0.9, 0.9), 4))


def awkward_times():
    """Leap seconds (before, in and after), ends of the range, a leap day, the 2003 and 2013 worked examples."""
    return [
        Time(2016, 12, 31, 23, 59, 59.5, -0.4), Time(2016, 12, 31, 23, 59, 60.0, -0.4),
        Time(2016, 12, 31, 23, 59, 60.5, -0.4), Time(2017, 1, 1, 0, 0, 0.0, 0.6),
        Time(2012, 6, 30, 23, 59, 60.25, -0.59), Time(2012, 7, 1, 0, 0, 0.25, 0.41), Time(1990, 1, 1, 0, 0, 0.0, 0.3),
        Time(1994, 6, 30, 23, 59, 60.136, -0.2), Time(2050, 12, 31, 23, 59, 59.999, 0.0), Time(2000, 1, 1, 12, 0, 0.0, 0.355),
        Time(2024, 2, 29, 12, 0, 0.0, 0.0), Time(2003, 10, 17, 19, 30, 30.0, 0.0), Time(2013, 4, 2, 23, 15, 43.55, 0.1550675),
    ]


def time_rows():
    rng = np.random.default_rng(1)
    for t in awkward_times() + [random_time(rng) for _ in range(600)]:
        tai = erfa.utctai(*t.utc)
        gst = erfa.gst06a(*t.ut1, *t.tt)
        yield [t.text, f"{t.dut1:.7f}"] + [f"{sum_days(jd):.11f}" for jd in (tai, t.tt, t.ut1)] + [deg(erfa.era00(*t.ut1)), deg(gst)]


def sum_days(jd):
    """Days since 2000-01-01 0h of the same scale, without losing digits."""
    return (jd[0] - 2451544.5) + jd[1]


def deg(a, decimals=7):
    return f"{np.degrees(a):.{decimals}f}"


# --- places and stars -------------------------------------------------------------------------------------------------

AWKWARD_PLACES = [(90, 0), (-90, 0), (89.9999, 12), (-89.9999, -77), (0, 180), (0, -180), (51.5, 179.99999), (-16.5, -179.99999), (0, 0), (66.56, 25)]


def random_place(rng, n):
    if n % 4 == 0:
        lat, lon = AWKWARD_PLACES[n // 4 % len(AWKWARD_PLACES)]
    else:
        lat, lon = np.degrees(np.arcsin(rng.uniform(-1, 1))), rng.uniform(-180, 180)
    return round(float(lat), 5), round(float(lon), 5)


def star_of(rng, n, t, lat, lon):
    """A random star; each third one within a degree of the zenith."""
    ra, dec = rng.uniform(0, 360), np.degrees(np.arcsin(rng.uniform(-1, 1)))
    if n % 3 == 0:
        away, az = rng.uniform(0, 1) ** 2, rng.uniform(0, 360)
        ra, dec = np.degrees(erfa.atoc13("A", np.radians(az), np.radians(away), *t.utc, t.dut1, *np.radians((lon, lat)), 0, 0, 0, 0, 0, 0, 0.55))
    elif n % 17 == 0:
        dec = rng.choice([-90, 90, 89.99, -89.99])
    return round(float(ra), 6) % 360, round(float(dec), 6)


def star_rows():
    rng = np.random.default_rng(2)
    times = awkward_times()
    for n in range(2400):
        t = times[n // 7 % len(times)] if n % 7 == 0 else random_time(rng)
        lat, lon = random_place(rng, n)
        ra, dec = star_of(rng, n, t, lat, lon)
        a, d = np.radians((ra, dec))
        ri, di, eo = erfa.atci13(a, d, 0, 0, 0, 0, *t.tt)
        az, zd, ha, od, _, _ = erfa.atco13(a, d, 0, 0, 0, 0, *t.utc, t.dut1, *np.radians((lon, lat)), 0, 0, 0, 0, 0, 0, 0.55)
        yield [t.text, f"{t.dut1:.7f}", f"{lat:.5f}", f"{lon:.5f}", f"{ra:.6f}", f"{dec:.6f}", deg(erfa.anp(ri - eo)), deg(di),
               deg(az), deg(np.pi / 2 - zd)]


# --- Sun --------------------------------------------------------------------------------------------------------------


def sun_apparent(t):
    """Geocentric apparent direction (true equator and equinox of date) and distance, au. The Sun rests while its light travels."""
    heliocentric, barycentric = erfa.epv00(*t.tt)
    v = barycentric["v"] * AU / 86400 / C
    r = np.linalg.norm(heliocentric["p"])
    seen = erfa.ab(-heliocentric["p"] / r, v, r, np.sqrt(1 - v @ v))
    return erfa.pnm06a(*t.tt) @ seen, r


def horizon_from_date(t, lat, lon):
    """Rows east, north, up in the true equator and equinox of date."""
    lst = erfa.gst06a(*t.ut1, *t.tt) + np.radians(lon)
    s, c = np.sin(lst), np.cos(lst)
    sp, cp = np.sin(np.radians(lat)), np.cos(np.radians(lat))
    return np.array([[-s, c, 0], [-sp * c, -sp * s, cp], [cp * c, cp * s, sp]])


def sun_horizon(t, lat, lon):
    """Topocentric azimuth and altitude: parallax over the ellipsoid, diurnal aberration, no air."""
    direction, r = sun_apparent(t)
    to_horizon = horizon_from_date(t, lat, lon)
    x, y, z = erfa.gd2gc(1, np.radians(lon), np.radians(lat), 0.0) / AU
    gast = erfa.gst06a(*t.ut1, *t.tt)
    observer = np.array([x * np.cos(gast) - y * np.sin(gast), x * np.sin(gast) + y * np.cos(gast), z])
    p = to_horizon @ (direction * r - observer)
    p /= np.linalg.norm(p)
    east = np.hypot(x, y) * AU * 7.292115e-5 / C
    p = erfa.ab(p, np.array([east, 0, 0]), 1e9, np.sqrt(1 - east * east))
    return np.arctan2(p[0], p[1]) % (2 * np.pi), np.arcsin(p[2])


def sun_rows():
    rng = np.random.default_rng(3)
    for n, t in enumerate(awkward_times() + [random_time(rng) for _ in range(1200)]):
        lat, lon = random_place(rng, n)
        direction, r = sun_apparent(t)
        az, alt = sun_horizon(t, lat, lon)
        yield [t.text, f"{t.dut1:.7f}", f"{lat:.5f}", f"{lon:.5f}", deg(np.arctan2(direction[1], direction[0]) % (2 * np.pi)),
               deg(np.arcsin(direction[2])), f"{r:.7f}", deg(az), deg(alt)]


# --- crossings --------------------------------------------------------------------------------------------------------


def later(t, seconds):
    """A Time so many seconds later, by a day without a leap second."""
    out = Time.__new__(Time)
    out.dut1, out.utc = t.dut1, (t.utc[0], t.utc[1] + seconds / 86400)
    out.tt, out.ut1 = (t.tt[0], t.tt[1] + seconds / 86400), (t.ut1[0], t.ut1[1] + seconds / 86400)
    return out


def star_altitude(t, lat, lon, ra, dec):
    return np.pi / 2 - erfa.atco13(*np.radians((ra, dec)), 0, 0, 0, 0, *t.utc, t.dut1, *np.radians((lon, lat)), 0, 0, 0, 0, 0, 0, 0.55)[1]


def crossings(altitude, limit, hours):
    """Crossings of a limit as (seconds, rising, arcsec per second), or None where one grazes it within 30 arcsec."""
    step = 300.0
    x = np.arange(-step, hours * 3600 + 2 * step, step)
    f = np.array([altitude(s) - limit for s in x])
    for n in range(1, len(f) - 1):
        if (f[n] - f[n - 1]) * (f[n + 1] - f[n]) <= 0:
            curve = f[n + 1] - 2 * f[n] + f[n - 1]
            vertex = f[n] - (f[n + 1] - f[n - 1]) ** 2 / 8 / curve if curve else f[n]
            if abs(vertex) < 30 * AS:
                return None
    out = []
    for n in range(len(f) - 1):
        if (f[n] >= 0) != (f[n + 1] >= 0):
            s = brentq(lambda v: altitude(v) - limit, x[n], x[n + 1], xtol=1e-5)
            if min(abs(s), abs(s - hours * 3600)) < 5:
                return None
            if 0 <= s < hours * 3600:
                out.append((s, f[n] < 0, (altitude(s + 1) - altitude(s - 1)) / 2 / AS))
    return f[1] >= 0, out


def crossing_rows():
    rng = np.random.default_rng(4)
    n = 0
    while n < 240:
        t = random_time(rng)
        lat, lon = random_place(rng, n)
        hours = int(rng.choice([3, 12, 24, 30]))
        if n % 2:
            ra, dec = round(float(rng.uniform(0, 360)), 6), round(float(np.degrees(np.arcsin(rng.uniform(-1, 1)))), 6)
            body, limit = f"{ra:.6f} {dec:.6f}", round(float(rng.uniform(-5, 70)), 2)
            altitude = lambda s: star_altitude(later(t, s), lat, lon, ra, dec)
        else:
            body, limit = "sun", float(rng.choice([-18, -12, -6, -0.8333, 0, 20]))
            altitude = lambda s: sun_horizon(later(t, s), lat, lon)[1]
        leap = erfa.dat(*[int(v) for v in erfa.jd2cal(*t.utc)[:3]], 0) != erfa.dat(*[int(v) for v in erfa.jd2cal(t.utc[0], t.utc[1] + 3)[:3]], 0)
        found = None if leap else crossings(altitude, np.radians(limit), hours)
        if found is None:
            continue
        n += 1
        above, events = found
        told = ";".join(f"{s:.3f} {'up' if up else 'down'} {rate:.4f}" for s, up, rate in events)
        yield [t.text, f"{t.dut1:.7f}", f"{lat:.5f}", f"{lon:.5f}", body, f"{limit:.4f}", str(hours), "above" if above else "below", told]


# --- refraction -------------------------------------------------------------------------------------------------------

NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)


def atmosphere(p, t0, humidity, wavelength, height, lat=np.radians(45)):
    """Index of refraction and its slope with radius: a troposphere with a lapse of 6.5 K/km to 11 km, isothermal above to 80 km.
    Hohenkerk & Sinclair 1985, NAO Technical Note 63 (Explanatory Supplement, 2nd ed. 1992, section 3.28)."""
    gas, dry, wet, delta, lapse, earth = 8314.36, 28.966, 18.016, 18.36, 0.0065, 6378120.0
    g = 9.784 * (1 - 0.0026 * np.cos(2 * lat) - 0.00000028 * height)
    a = (287.604 + 1.6288 / wavelength**2 + 0.0136 / wavelength**4) * 273.15 / 1013.25 * 1e-6
    c2 = g * dry / gas
    gamma = c2 / lapse
    pw = humidity * (t0 / 247.1) ** delta
    c5 = pw * (1 - wet / dry) * gamma / (delta - gamma)
    c6, c7 = a * (p + c5) / t0, (a * c5 + 11.2684e-6 * pw) / t0
    r0, rt, rs = earth + height, earth + 11000.0, earth + 80000.0

    def troposphere(r):
        q = (t0 - lapse * (r - r0)) / t0
        n = 1 + (c6 * q ** (gamma - 2) - c7 * q ** (delta - 2)) * q
        return n, lapse * (-c6 * (gamma - 1) * q ** (gamma - 2) + c7 * (delta - 1) * q ** (delta - 2)) / t0

    top, nt = t0 - lapse * (rt - r0), troposphere(rt)[0]

    def stratosphere(r):
        e = (nt - 1) * np.exp(-c2 * (r - rt) / top)
        return 1 + e, -c2 / top * e

    return [(troposphere, r0, rt), (stratosphere, rt, rs)]


def ray(altitude, *weather):
    """Refraction of a ray observed at an altitude, radians. The integral over the zenith distance along the ray of
    -r n' / (n + r n') (Auer & Standish 2000, AJ 119, 2472), Gauss-Legendre; the radius from n r sin z = constant by halving."""
    layers = atmosphere(*weather)
    index, bottom, _ = layers[0]
    n0 = index(bottom)[0]
    constant = n0 * bottom * np.cos(altitude)
    total = sum(layer(f, ra, rb, constant) for f, ra, rb in layers)
    return total, n0 - 1


def layer(f, ra, rb, constant):
    za, zb = (np.arcsin(min(1.0, constant / (f(r)[0] * r))) for r in (ra, rb))
    edges = za + (zb - za) * np.linspace(0, 1, 17)
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    z, w = (middle[:, None] + half[:, None] * NODES).ravel(), (half[:, None] * WEIGHTS).ravel()
    low, high = np.full_like(z, ra), np.full_like(z, rb)
    for _ in range(60):
        r = (low + high) / 2
        below = f(r)[0] * r * np.sin(z) < constant
        low, high = np.where(below, r, low), np.where(below, high, r)
    r = (low + high) / 2
    n, slope = f(r)
    return np.sum(w * r * slope / (n + r * slope))


def height_of(p):
    """The height at which the standard atmosphere has a pressure, m."""
    return max(0.0, 44330.8 * (1 - (p / 1013.25) ** 0.190263))


def refraction_rows():
    rng = np.random.default_rng(5)
    weathers = [(1005.0, 7.0, 0.8, 0.574, 0.0), (1010.0, 10.0, 0.0, 0.55, 0.0), (1050.0, -40.0, 0.0, 0.55, 0.0), (550.0, 10.0, 1.0, 0.55, 4900.0)]
    for _ in range(46):
        p = round(float(rng.uniform(550, 1050)), 1)
        height = round(float(height_of(p) + rng.uniform(-150, 150)))
        weathers.append((p, round(float(rng.uniform(-40, 40)), 1), round(float(rng.uniform(0, 1)), 2), round(float(rng.uniform(0.4, 0.8)), 3), float(max(0, height))))
    for p, c, humidity, wavelength, height in weathers:
        for alt in (0, 0.5, 1, 2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 20, 30, 45, 60, 75, 89):
            r, _ = ray(np.radians(alt), p, c + 273.15, humidity, wavelength, height)
            yield [f"{p:.1f}", f"{c:.1f}", f"{humidity:.2f}", f"{wavelength:.3f}", f"{height:.0f}", f"{alt:.2f}", f"{r / AS:.2f}"]


def fit_refraction():
    """The lower two terms of the continued fraction of sky.Air. With s the sine of the observed altitude,
        R = alpha (1 - alpha/2) cos / (s + a / (s + b / (s + c))),  a = (beta - alpha/2) / (1 - alpha/2),
        b = beta (b0 + b1 x + b2 y + b3 x^2),  c = sqrt(beta) (c0 + c1 x + c2 y + c3 x^2),  x = alpha/beta,  y = T/283.15 K - 1;
    weights 1 above 5 degrees, 0.3 above 1 degree, 0.1 below."""
    rows = []
    for p in (550, 700, 850, 1000, 1050):
        for kelvin in (233, 253, 268, 283, 298, 313):
            for humidity in (0, 0.5, 1) if kelvin > 270 else (0,):
                for alt in np.radians((0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 45, 60, 80)):
                    r, alpha = ray(alt, p, kelvin, humidity, 0.55, height_of(p), 0.7)
                    rows.append((alt, r, alpha, kelvin))
    alt, r, alpha, kelvin = np.array(rows).T
    beta = kelvin * 8314.36 / (28.966 * 9.784 * 6378120)
    x, y, s = alpha / beta, kelvin / 283.15 - 1, np.sin(alt)
    a = (beta - alpha / 2) / (1 - alpha / 2)
    weight = np.where(alt < np.radians(1), 0.1, np.where(alt < np.radians(5), 0.3, 1))

    def miss(k):
        b = beta * (k[0] + k[1] * x + k[2] * y + k[3] * x * x)
        c = np.sqrt(beta) * (k[4] + k[5] * x + k[6] * y + k[7] * x * x)
        return (alpha * (1 - alpha / 2) * np.cos(alt) / (s + a / (s + b / (s + c))) - r) / AS * weight

    fit = least_squares(miss, [1.7, 0, 0, 0, 1.2, 0, 0, 0], x_scale="jac", max_nfev=3000)
    print("b0..b3, c0..c3:", np.round(fit.x, 4))
    print("worst, arcsec, above 15, 5, 0 degrees:", [float(np.abs(miss(fit.x) / weight)[alt >= np.radians(d) - 1e-9].max().round(2)) for d in (15, 5, 0)])


# --- the tables -------------------------------------------------------------------------------------------------------

ERFA = f"ERFA {erfa.version.erfa_version} by python3-erfa {erfa.__version__}"
TABLES = {
    "sky_time.csv": (ERFA + ": utctai, taitt, utcut1, era00, gst06a; days count from 2000-01-01 0h of each scale", time_rows,
                     "utc,dut1_s,tai_days,tt_days,ut1_days,earth_rotation_deg,greenwich_apparent_sidereal_deg"),
    "sky_star.csv": (ERFA + ": atci13 less the equation of the origins, atco13 without air, polar motion 0", star_rows,
                     "utc,dut1_s,latitude_deg,longitude_east_deg,icrs_ra_deg,icrs_dec_deg,apparent_ra_deg,apparent_dec_deg,azimuth_deg,altitude_deg"),
    "sky_sun.csv": (ERFA + ": epv00, ab, pnm06a; gd2gc and gst06a for the horizon, without air", sun_rows,
                    "utc,dut1_s,latitude_deg,longitude_east_deg,apparent_ra_deg,apparent_dec_deg,distance_au,azimuth_deg,altitude_deg"),
    "sky_crossing.csv": (ERFA + f" as for stars and Sun, sampled each 5 min, scipy {scipy.__version__} brentq; no case that grazes within 30 arcsec",
                         crossing_rows, "utc,dut1_s,latitude_deg,longitude_east_deg,body,altitude_limit_deg,span_h,at_start,"
                         "crossings (seconds after utc; direction; arcsec per second)"),
    "sky_refraction.csv": ("rays integrated by this script (Hohenkerk & Sinclair 1985; Auer & Standish 2000)", refraction_rows,
                           "pressure_hpa,temperature_celsius,humidity,wavelength_um,height_m,observed_altitude_deg,refraction_arcsec"),
}


def main(args):
    if args == ["--fit"]:
        return fit_refraction()
    out = pathlib.Path(args[0]) if args else pathlib.Path(__file__).parent
    for name, (tool, rows, columns) in TABLES.items():
        lines = [f"# tool: {tool}", "# command: /usr/bin/python3 testdata/reference/sky.py", f"# columns: {columns}"]
        (out / name).write_text("\n".join(lines + [",".join(r) for r in rows()]) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
