package rig

import (
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/unit"
)

// Zero is what of a rig file gives the axis angles their meaning: where both are zero, which way they grow, and what is said of them when a rig is
// homed. Where the axes of a rig stand is true by one Zero, and nothing by another. The rest of a file says what turns with the axes and how well: a
// length, a site moved by less than a hemisphere or a polar error turns no axis.
type Zero struct {
	Kind    Kind       `json:"kind"`
	South   bool       `json:"south,omitempty"` // a German equatorial's tube points at the elevated pole at zero
	Home    Axes       `json:"home"`
	HomedBy HomingKind `json:"homed_by"`
}

// Zero is that of the rig's file.
func (r *Rig) Zero() Zero {
	return Zero{Kind: r.Kind, South: r.Site.Lat < 0, Home: r.Home, HomedBy: r.Homing.By}
}

// Since says which keys of the file are others now than they were, with both values; empty: none is.
func (z Zero) Since(was Zero) string {
	var out []string
	say := func(changed bool, key string, was, is any) {
		if changed {
			out = append(out, fmt.Sprintf("%s was %v and is %v", key, was, is))
		}
	}
	pair := func(a Axes) string { return fmt.Sprintf("[%s, %s]", short(a.A1.Deg()), short(a.A2.Deg())) }
	say(z.Kind != was.Kind, "kind", was.Kind, z.Kind)
	say(z.South != was.South, "site.latitude_deg", was.hemisphere(), z.hemisphere())
	say(z.Home.Sub(was.Home).Abs().Max() > sameHome, "home_deg", pair(was.Home), pair(z.Home))
	say(z.HomedBy != was.HomedBy, "homing.by", was.HomedBy, z.HomedBy)
	return strings.Join(out, "; ")
}

func (z Zero) hemisphere() string {
	return map[bool]string{false: "in the north", true: "in the south"}[z.South]
}

// sameHome is by how much a home may differ that was written in another way. Choice: a thousandth of the sharpest that an eye reads.
const sameHome = unit.Angle(1e-4) * unit.Degree
