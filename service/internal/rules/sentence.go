package rules

import (
	"math"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/verdict"
)

// sentence fills a template of METADATA in: {value}, {limit}, {miss} (by how much), {about|stand-in}, and other facts of the rule by name. Where
// the finding has an instant, it is added at the end.
func sentence(template string, f verdict.Finding, in input) string {
	value, limit := shownPair(f)
	text := holePattern.ReplaceAllStringFunc(template, func(hole string) string {
		m := holePattern.FindStringSubmatch(hole)
		switch m[1] {
		case "value":
			return value
		case "limit":
			return limit
		case "miss":
			return missed(f)
		case "about":
			if len(f.About) == 0 {
				return m[2]
			}
			return listed(f.About)
		}
		return shown(*in.reading(m[1]), spoken(m[1]), usualDecimals)
	})
	if f.Instant != nil {
		text = strings.TrimSuffix(text, ".") + " (at " + f.Instant.UTC().Format("15:04:05") + " UTC)."
	}
	return text
}

// missed writes by how much the value misses the limit, without a sign.
func missed(f verdict.Finding) string {
	if f.Fact == nil || f.Fact.Number == nil || f.Limit == nil {
		return "some"
	}
	return number(math.Abs(*f.Fact.Number-*f.Limit), spoken(f.Fact.Name), 1)
}

// listed joins names as a person would say them; phrases, which have commas and colons of their own, it sets apart.
func listed(names []string) string {
	if strings.ContainsAny(strings.Join(names, ""), ",:") {
		return strings.Join(names, "; ")
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// usualDecimals is how many decimals a person is shown, mostDecimals how many where value and limit would look equal.
const (
	usualDecimals = 2
	mostDecimals  = 9
)

// shownPair writes value and limit, with as many decimals as it takes to tell them apart.
func shownPair(f verdict.Finding) (value, limit string) {
	if f.Fact == nil {
		return "", ""
	}
	unit := spoken(f.Fact.Name)
	for decimals := usualDecimals; ; decimals++ {
		value = shown(*f.Fact, unit, decimals)
		if f.Limit == nil {
			return value, ""
		}
		limit = number(*f.Limit, unit, decimals)
		if value != limit || f.Fact.Number == nil || *f.Fact.Number == *f.Limit || decimals == mostDecimals {
			return value, limit
		}
	}
}

// shown writes a reading.
func shown(r verdict.Reading, unit string, decimals int) string {
	switch {
	case r.Number != nil:
		return number(*r.Number, unit, decimals)
	case r.Word != nil:
		return *r.Word
	case r.Truth != nil && *r.Truth:
		return "yes"
	case r.Truth != nil:
		return "no"
	}
	return "not known"
}

// number writes a quantity in the unit that a person would use for its size.
func number(v float64, unit string, decimals int) string {
	size := math.Abs(v)
	switch unit {
	case "deg":
		return plain(v, decimals) + "°"
	case "arcmin":
		if size >= 120 {
			return plain(v/60, decimals) + "°"
		}
		return plain(v, decimals) + "′"
	case "arcsec":
		return plain(v, decimals) + "″"
	case "mm":
		return plain(v, decimals) + " mm"
	case "mm_per_deg":
		return plain(v, decimals) + " mm per degree"
	case "sigma":
		return plain(v, decimals) + " sigmas"
	case "s":
		return seconds(v, size, decimals)
	case "days":
		return plain(v, decimals) + " days"
	case "percent":
		return plain(100*v, decimals) + " %"
	}
	return plain(v, decimals)
}

// seconds writes a time span in seconds below 10 minutes, minutes below 2 hours, then hours.
func seconds(v, size float64, decimals int) string {
	switch {
	case size < 600:
		return plain(v, decimals) + " s"
	case size < 7200:
		return plain(v/60, decimals) + " min"
	}
	return plain(v/3600, decimals) + " h"
}

// plain writes a number without trailing zeros, its minus as all else that people read here: as the keyboard has it, so that it can be given
// back to a command. Small ratios keep two significant digits.
func plain(v float64, decimals int) string {
	if size := math.Abs(v); size > 0 && size < 0.1 && decimals < mostDecimals {
		decimals++
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		text = "0"
	}
	return text
}

// spoken is the unit in which a sentence tells a fact: that of its name, and percent for a relative error.
func spoken(name string) string {
	if strings.HasSuffix(name, "_error_ratio") {
		return "percent"
	}
	return unitOf(name)
}

// unitOf reads the unit off a fact's name; empty for counts, ratios, words and pure numbers.
func unitOf(name string) string {
	for _, unit := range []string{"arcsec", "arcmin", "days", "mm_per_deg", "deg", "mm", "sigma", "s"} {
		if strings.HasSuffix(name, "_"+unit) {
			return unit
		}
	}
	return ""
}
