package rig

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// This file reads angles that are written otherwise than in decimal degrees, to say how they are to be written. No angle is taken so: what stands in
// the file is what counts.

// parted is an angle in degrees, minutes and seconds, or with the side of the world that it is counted to, before or behind it.
var parted = regexp.MustCompile(`^(?:([NSEWnsew])\s*)?([+-]?)(\d{1,3}(?:\.\d+)?)\s*(?:[°d:]\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:(['m:])\s*(?:(\d{1,2}(?:\.\d+)?)\s*(["s]|'')?)?)?)?)?\s*([NSEWnsew]?)$`)

// plainMarks writes the marks of typesetters as those of keyboards.
var plainMarks = strings.NewReplacer("\u2212", "-", "′", "'", "‘", "'", "’", "'", "″", `"`, "“", `"`, "”", `"`, "º", "°")

// partedAngle is an angle as it was written.
type partedAngle struct {
	deg  float64 // to 0.0001, negative toward south and west
	side string  // N, S, E or W; empty: none was written
}

// sexagesimal reads such an angle; false: it is none, or can be read in two ways.
func sexagesimal(text string) (partedAngle, bool) {
	m := parted.FindStringSubmatch(plainMarks.Replace(text))
	if m == nil || isNumber(text) {
		return partedAngle{}, false
	}
	sign, side := m[2], strings.ToUpper(m[1]+m[8])
	if len(side) > 1 || sign != "" && side != "" || m[7] == "s" && m[5] != "m" { // of 33:43:10s the last letter may be south
		return partedAngle{}, false
	}
	part := func(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v } // digits, or nothing, which is 0
	degrees, minutes, seconds := part(m[3]), part(m[4]), part(m[6])
	if minutes >= 60 || seconds >= 60 {
		return partedAngle{}, false
	}
	v := math.Round((degrees+minutes/60+seconds/3600)*1e4) / 1e4
	if sign == "-" || side == "S" || side == "W" {
		v = -v
	}
	return partedAngle{v, side}, true
}

// angleRemedy says how the angle that stands behind a key is to be written; false: the key is of no angle, or none stands there.
func angleRemedy(text, key string) (string, bool) {
	name := keyName(key)
	a, ok := sexagesimal(text)
	if !ok || !strings.HasSuffix(name, "_deg") {
		return "", false
	}
	written := strconv.FormatFloat(a.deg, 'f', -1, 64)
	sides := map[string]string{"latitude_deg": "NS", "longitude_deg": "EW"}[name]
	switch {
	case a.side != "" && sides == "":
		return "", false
	case !strings.Contains(sides, a.side):
		return map[string]string{
			"NS": "a latitude is counted north or south: look whether it and the longitude are exchanged",
			"EW": "a longitude is counted east or west: look whether it and the latitude are exchanged",
		}[sides], true
	case sides != "":
		return "write decimal degrees, south and west negative: " + written, true
	}
	return "write decimal degrees: " + written, true
}

// keyName is the last word of a key, without its places in lists.
func keyName(key string) string {
	words := strings.Split(key, ".")
	for len(words) > 1 {
		if _, err := strconv.Atoi(words[len(words)-1]); err != nil {
			break
		}
		words = words[:len(words)-1]
	}
	return words[len(words)-1]
}
