package draw

import (
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// View is a rig at one pose of its axes, with what is nearest there.
type View struct {
	rig    *rig.Rig
	scene  *rig.Scene
	at     rig.Axes
	parts  []rig.PartState // the states that parts are taken to be in
	placed []solid.Shape   // by body
	near   *nearby         // the pair with the smallest gap; nil where no pair counts
	tight  *nearby         // the pair with the least to spare above what its margins ask for
}

// nearby is a pair of bodies and the gap between them.
type nearby struct {
	rig.Pair
	solid.Gap
	parts [2]string
}

// spare is what is left above what the margins ask for, mm.
func (n *nearby) spare() float64 { return n.Lower - float64(n.Required) }

// NewView looks at a rig at a pose: scene says what gaps are required, and was made with parts in those states.
func NewView(r *rig.Rig, scene *rig.Scene, at rig.Axes, parts ...rig.PartState) *View {
	v := &View{rig: r, scene: scene, at: at, parts: parts, placed: scene.Place(at)}
	name := func(body int) string { return scene.Names[scene.Bodies[body].Part] }
	for _, p := range scene.Pairs {
		n := &nearby{p, solid.Distance(v.placed[p.A], v.placed[p.B]), [2]string{name(p.A), name(p.B)}}
		if v.near == nil || n.Lower < v.near.Lower {
			v.near = n
		}
		if v.tight == nil || n.spare() < v.tight.spare() {
			v.tight = n
		}
	}
	return v
}

// Nearest is the pair with the smallest gap; nil where no pair counts.
func (v *View) Nearest() *reach.Approach {
	if v.near == nil {
		return nil
	}
	n := v.near
	return &reach.Approach{Parts: n.parts, Pose: v.at, Lower: unit.Length(n.Lower), Upper: unit.Length(n.Upper), Required: n.Required}
}

// Text says where the axes and the tube stand and what is nearest.
func (v *View) Text() string {
	var b strings.Builder
	rig.Say(&b, "%s: axis 1 at %s, axis 2 at %s", v.rig.ID, degrees(v.at.A1), degrees(v.at.A2))
	for _, s := range v.sentences() {
		rig.Say(&b, "%s", s)
	}
	if s := v.homeward(); s != "" {
		rig.Say(&b, "%s", s)
	}
	return b.String()
}

// homeward says how the rig comes home from there, each leg proven with what homing leaves uncertain; empty at home.
func (v *View) homeward() string {
	r := v.rig
	switch {
	case v.at == r.Home || len(v.scene.Pairs) == 0 || !r.Travel.Holds(v.at):
		return ""
	case v.tight.spare() < 0:
		return "Out of there may lead a creep, a slow turn of one axis: ask for any motion, and the answer names one that is proven, or says what helps."
	}
	if h := NewView(r, v.scene, r.Home, v.parts...); h.tight.spare() < 0 {
		return "At home " + h.tight.parts[0] + " and " + h.tight.parts[1] + " are nearer than they may be: no motion may end there."
	}
	p, spread := reach.New(v.scene), r.Homing.Sigma.Scale(3).Add(r.Motion.Overrun)
	if straight := reach.WayOf(r.Motion.Sharing, r.Motion, v.at, r.Home); p.Prove(straight, spread, reach.DefaultBudget).Passes() {
		return "The way home from there is clear."
	}
	route, found := p.Around(v.at, r.Home, r.Motion, r.Travel, spread, reach.DefaultBudget)
	switch {
	case found:
		return "Home from there by " + strings.Join(stops(route.Stops), ", then ") + ": each leg is clear, the direct way is not."
	case route.Barred:
		return "No way leads home from there: it is proven that, whatever way is taken within travel, two parts come nearer than they may."
	}
	return "No way home was found from there within the work that one look may take; there may be one."
}

func stops(all []rig.Axes) (out []string) {
	for _, a := range all {
		out = append(out, fmt.Sprintf("axis 1 at %s, axis 2 at %s", degrees(a.A1), degrees(a.A2)))
	}
	return out
}

// sentences are what there is to say of the pose, for words and picture alike.
func (v *View) sentences() []string {
	out := []string{fmt.Sprintf("The tube points %s.", v.rig.Pointing(v.at))}
	if t := v.rig.Travel; !t.Holds(v.at) {
		out = append(out, fmt.Sprintf("This is beyond the file's travel, %s to %s and %s to %s.", degrees(t.Low.A1), degrees(t.High.A1), degrees(t.Low.A2), degrees(t.High.A2)))
	}
	out = append(out, states(v.rig, v.parts)...)
	if v.near == nil {
		return append(out, "No two parts of this rig come nearer by turning an axis.")
	}
	out = append(out, "Nearest: "+v.near.words()+".")
	if v.tight.Pair != v.near.Pair {
		out = append(out, "Least to spare: "+v.tight.words()+".")
	}
	if v.tight.spare() < 0 {
		out = append(out, "That is less than they must keep: no motion that has to keep its margins may go here.")
	}
	return out
}

// words names the two parts, how far apart they are, as far as it is proven, and how far they should be.
func (n *nearby) words() string {
	if n.Upper <= 0 {
		return n.parts[0] + " and " + n.parts[1] + ", which touch"
	}
	return fmt.Sprintf("%s and %s, %.1f mm apart (their margins ask for %.1f)", n.parts[0], n.parts[1], max(0, n.Lower), float64(n.Required))
}

// mm is the gap, as far as it is proven, and whether that is too little.
func (n *nearby) mm() string {
	gap := fmt.Sprintf("%.1f mm", max(0, n.Lower))
	switch {
	case n.Upper <= 0:
		return "THEY TOUCH"
	case n.spare() < 0:
		return gap + ", TOO NEAR"
	}
	return gap
}
