package rules

import (
	"math"
	"strconv"
)

// significant is how many digits a fact keeps. OPA compares numbers of up to 15 significant digits as exact decimals and
// longer ones at about twice the time; any decimal of 15 digits survives a float64 and back (IEEE 754 binary64).
const significant = 15

// tenToThe15 is the first number of 16 digits.
const tenToThe15 = 1_000_000_000_000_000

// Numbers beyond these sizes are no fact about a telescope. Ours: far from where float64 loses digits (below 2.3e-308) or
// rounding could run over its end (1.8e308).
const (
	largest  = 1e300
	smallest = 1e-300
)

// round returns v with at most 15 significant digits, moved toward danger, never past it: the result is >= v where a larger
// number is more dangerous (upward), <= v where a smaller one is (downward). The text says the same number as a decimal.
// Requires |v| <= largest.
func round(v float64, side danger) (float64, string) {
	if math.Abs(v) < smallest {
		return tiny(v, side)
	}
	var room [32]byte
	text := strconv.AppendFloat(room[:0], v, 'e', -1, 64) // shortest text that reads back as v: -d.ddd…e±dd
	m, digits, exponent := decimal(text)
	if digits <= significant {
		return v, string(text)
	}
	if math.Signbit(v) == (side == downward) {
		m++ // away from zero is toward danger
	}
	if m == tenToThe15 {
		m, exponent = m/10, exponent+1
	}
	if math.Signbit(v) {
		m = -m
	}
	text = strconv.AppendInt(room[:0], m, 10)
	text = strconv.AppendInt(append(text, 'e'), int64(exponent-significant+1), 10)
	out, _ := strconv.ParseFloat(string(text), 64) // a decimal within float64's range: cannot fail
	return out, string(text)
}

// decimal reads -d.ddd…e±dd: the first 15 digits as a whole number without sign, how many digits there are in all, and the exponent.
func decimal(text []byte) (m int64, digits, exponent int) {
	for i, c := range text {
		switch {
		case c == 'e':
			exponent, _ = strconv.Atoi(string(text[i+1:])) // written by strconv: cannot fail
			return m, digits, exponent
		case c == '-' || c == '.':
		default:
			if digits < significant {
				m = m*10 + int64(c-'0')
			}
			digits++
		}
	}
	return m, digits, exponent
}

// tiny rounds what is smaller than any real quantity: to zero, or to the smallest size where that is toward danger.
func tiny(v float64, side danger) (float64, string) {
	switch {
	case v == 0 || math.Signbit(v) != (side == downward):
		return 0, "0" // also of -0
	case math.Signbit(v):
		return -smallest, "-1e-300"
	}
	return smallest, "1e-300"
}
