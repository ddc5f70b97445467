package rig

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io"
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
	h := sha256.New()
	io.WriteString(h, "keepclear rig 1\n")
	canonical(h, n)
	for _, l := range limits {
		fmt.Fprintf(h, "\n%q %q %s", l.Rule, l.Name, strconv.FormatFloat(l.Value, 'g', -1, 64))
	}
	for _, name := range slices.Sorted(maps.Keys(meshes)) {
		fmt.Fprintf(h, "\n%q %x", name, meshes[name])
	}
	return [32]byte(h.Sum(nil))
}

func canonical(w io.Writer, n *node) {
	switch n.kind {
	case nothing:
		io.WriteString(w, "null")
	case scalar:
		if v, ok := aNumber(n); ok {
			v += 0 // -0 is 0
			io.WriteString(w, strconv.FormatFloat(v, 'g', -1, 64))
			return
		}
		io.WriteString(w, strconv.Quote(n.text))
	case list:
		io.WriteString(w, "[")
		for _, c := range n.items {
			canonical(w, c)
			io.WriteString(w, ",")
		}
		io.WriteString(w, "]")
	case mapping:
		entries := slices.Clone(n.entries)
		slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.key, b.key) })
		io.WriteString(w, "{")
		for _, e := range entries {
			io.WriteString(w, strconv.Quote(e.key)+":")
			canonical(w, e.value)
			io.WriteString(w, ",")
		}
		io.WriteString(w, "}")
	}
}

// airAt returns the pressure of the standard atmosphere at a height, hPa.
// Source: ICAO standard atmosphere (Doc 7488, 1993), troposphere: 1013.25 hPa · (1 - 0.0065 h / 288.15)^5.25588. From memory.
func airAt(heightM float64) float64 {
	return 1013.25 * math.Pow(1-0.0065*heightM/288.15, 5.25588)
}
