package rig

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
)

// digest names a revision of a rig: SHA-256 over a canonical form of the values of the rig file laid over its class file, the
// limits of each, and the meshes. Comments, spacing, the order of keys and the way a number is written change nothing.
//
// The form, version 1: blocks as {key:value,…} with sorted keys, lists as [value,…], numbers in the shortest decimal that
// reads back as the same, everything else quoted.
func digest(n *node, limits []Limit, meshes map[string][32]byte) (out [32]byte) {
	form := canonical(append(make([]byte, 0, 4096), "keepclear rig 1\n"...), n)
	for _, l := range limits {
		form = fmt.Appendf(form, "\n%q %q %s", l.Rule, l.Name, strconv.FormatFloat(l.Value, 'g', -1, 64))
	}
	for _, name := range slices.Sorted(maps.Keys(meshes)) {
		form = fmt.Appendf(form, "\n%q %x", name, meshes[name])
	}
	return sha256.Sum256(form)
}

// canonical appends the form of a value.
func canonical(to []byte, n *node) []byte {
	switch n.kind {
	case nothing:
		return append(to, "null"...)
	case scalar:
		if v, ok := aNumber(n); ok {
			return strconv.AppendFloat(to, v+0, 'g', -1, 64) // -0 is 0
		}
		return strconv.AppendQuote(to, n.text)
	case list:
		to = append(to, '[')
		for _, c := range n.items {
			to = append(canonical(to, c), ',')
		}
		return append(to, ']')
	case mapping:
		var room [16]entry
		entries := append(room[:0], n.entries...)
		slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.key, b.key) })
		to = append(to, '{')
		for _, e := range entries {
			to = append(strconv.AppendQuote(to, e.key), ':')
			to = append(canonical(to, e.value), ',')
		}
		return append(to, '}')
	}
	return to
}

// airAt returns the pressure of the standard atmosphere at a height, hPa.
// Source: ICAO standard atmosphere (Doc 7488, 1993), troposphere: 1013.25 hPa · (1 - 0.0065 h / 288.15)^5.25588. From memory.
func airAt(heightM float64) float64 {
	return 1013.25 * math.Pow(1-0.0065*heightM/288.15, 5.25588)
}
