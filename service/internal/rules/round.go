package rules

import (
	"math"
	"strconv"
	"strings"
)

// significant is how many digits a fact keeps. OPA compares numbers of up to 15 significant digits as exact decimals and
// longer ones at about twice the time; any decimal of 15 digits survives a float64 and back (IEEE 754 binary64).
const significant = 15

// Numbers beyond these sizes are no fact about a telescope. Ours: far from where float64 loses digits (below 2.3e-308) or
// rounding could run over its end (1.8e308).
const (
	largest  = 1e300
	smallest = 1e-300
)

// round returns v with at most 15 significant digits, moved toward danger, never past it: the result is >= v where a larger
// number is more dangerous (upward), <= v where a smaller one is (downward). Requires |v| <= largest.
func round(v float64, side danger) float64 {
	if v == 0 {
		return 0 // also of -0
	}
	if math.Abs(v) < smallest {
		return tiny(v, side)
	}
	text := strconv.FormatFloat(v, 'e', -1, 64) // shortest text that reads back as v
	mantissa, exponent, _ := strings.Cut(text, "e")
	digits := strings.Replace(strings.TrimPrefix(mantissa, "-"), ".", "", 1)
	if len(digits) <= significant {
		return v
	}
	m, _ := strconv.ParseInt(digits[:significant], 10, 64) // digits only: cannot fail
	if math.Signbit(v) == (side == downward) {
		m++ // away from zero is toward danger
	}
	if math.Signbit(v) {
		m = -m
	}
	e, _ := strconv.Atoi(exponent)
	out, _ := strconv.ParseFloat(strconv.FormatInt(m, 10)+"e"+strconv.Itoa(e-significant+1), 64)
	return out
}

// tiny rounds what is smaller than any real quantity: to zero, or to the smallest size where that is toward danger.
func tiny(v float64, side danger) float64 {
	if math.Signbit(v) == (side == downward) {
		return math.Copysign(smallest, v)
	}
	return 0
}
