package limits

import "math"

// Definition says what a limit is: its default, how far any layer may move it, and which way is safe.
type Definition struct {
	Rule           string   // "sky/floor", or "permit" for limits that no rule reads
	Name           string   // with its unit as suffix: "altitude_deg"
	Title          string   // one line
	Reason         string   // why the default stands where it does, with its source
	Default        *float64 // nil: every rig states its own
	Bound          *float64 // the loosest that any layer may set; nil: none but ±3600
	SmallerIsSafer bool     //
	MayLoosen      string   // who may, once loosening is served: a role of the site's own policy, or "nobody"
}

// widest bounds limits that declare no bound of their own: ten turns of an axis, in degrees. Ours; it only catches slips of
// the pen, such as arcseconds typed for degrees.
const widest = 3600

// within reports whether v is no looser than the definition's bound.
func (d Definition) within(v float64) bool {
	if d.Bound == nil {
		return math.Abs(v) <= widest
	}
	return !d.looser(v, *d.Bound)
}

// looser reports whether a lets through more than b.
func (d Definition) looser(a, b float64) bool {
	if d.SmallerIsSafer {
		return a > b
	}
	return a < b
}

// key is how a limit is named in messages and in layers: "sky/floor altitude_deg".
func (d Definition) key() string { return d.Rule + " " + d.Name }
