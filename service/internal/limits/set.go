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
	at     map[name]int // index in all
	tree   []byte       // what Rego sees
	digest [sha256.Size]byte
}

// name is what a limit is called.
type name struct{ rule, limit string }

// Value returns one limit in the unit of its name; false: there is no such limit.
func (s Set) Value(rule, limit string) (float64, bool) {
	i, ok := s.at[name{rule, limit}]
	if !ok {
		return 0, false
	}
	return s.all[i].Value, true
}

// Limit returns one limit with where it comes from.
func (s Set) Limit(rule, limit string) (Limit, bool) {
	i, ok := s.at[name{rule, limit}]
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
