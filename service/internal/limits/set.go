package limits

import (
	"crypto/sha256"
	"slices"
)

// Limit is one limit as it binds.
type Limit struct {
	Definition
	Value  float64 // finite, no looser than the bound
	Origin string  // the layer that binds: "default", "facility", "class NAME", "rig NAME"
}

// Set is the limits of one rig, checked. The zero value has none, and no rule loads with it.
//
// Invariant: by rule and then by name; every value finite and within its bound; never changed after Merge.
type Set struct {
	all    []Limit
	at     map[string]int // key → index in all
	tree   []byte         // what Rego sees
	digest [sha256.Size]byte
}

// Value returns one limit in the unit of its name; false: there is no such limit.
func (s Set) Value(rule, name string) (float64, bool) {
	l, ok := s.Limit(rule, name)
	return l.Value, ok
}

// Limit returns one limit with where it comes from.
func (s Set) Limit(rule, name string) (Limit, bool) {
	i, ok := s.at[rule+" "+name]
	if !ok {
		return Limit{}, false
	}
	return s.all[i], true
}

// All returns every limit by rule and name.
func (s Set) All() []Limit { return slices.Clone(s.all) }

// JSON is what Rego sees as data.limits: {"sky":{"floor":{"altitude_deg":-3}}}. The caller must not change it.
func (s Set) JSON() []byte { return s.tree }

// Digest names the set: equal digests mean equal values under equal names. Titles, reasons and origins do not count.
func (s Set) Digest() [sha256.Size]byte { return s.digest }
