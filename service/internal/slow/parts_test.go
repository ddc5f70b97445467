package slow_test

import (
	"fmt"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/slow"
)

func xyz(v slow.V) string { return fmt.Sprintf("[%v, %v, %v]", v[0], v[1], v[2]) }

// solid draws a shape of a kind: reaching from a place to another, about so thick; and the line of the file for it.
func (d *drawn) solid(kind string, from, to slow.V, thick float64) (slow.Shape, string) {
	tidy := func(v slow.V) slow.V {
		for i := range v {
			v[i] = math.Round(v[i]*100) / 100
		}
		return v
	}
	from, to = tidy(from), tidy(to)
	thick = math.Round(thick)
	middle := tidy(slow.V{(from[0] + to[0]) / 2, (from[1] + to[1]) / 2, (from[2] + to[2]) / 2})
	switch kind {
	case "ball":
		return slow.Shape{Kind: kind, P: []slow.V{middle}, R1: thick}, fmt.Sprintf("ball: {centre_mm: %s, diameter_mm: %v}", xyz(middle), 2*thick)
	case "capsule", "cylinder":
		return slow.Shape{Kind: kind, P: []slow.V{from, to}, R1: thick}, fmt.Sprintf("%s: {from_mm: %s, to_mm: %s, diameter_mm: %v}", kind, xyz(from), xyz(to), 2*thick)
	case "cone":
		other := math.Round(thick * d.within(0, 2))
		return slow.Shape{Kind: kind, P: []slow.V{from, to}, R1: thick, R2: other},
			fmt.Sprintf("cone: {from_mm: %s, to_mm: %s, diameter_from_mm: %v, diameter_to_mm: %v}", xyz(from), xyz(to), 2*thick, 2*other)
	case "box":
		half := slow.V{}
		for i := range half {
			half[i] = math.Round(math.Abs(to[i]-from[i])/2 + thick)
		}
		turn := d.within(-180, 180)
		return slow.Shape{Kind: kind, P: []slow.V{middle}, Half: half, Turn: turn * degree},
			fmt.Sprintf("box: {centre_mm: %s, size_mm: [%v, %v, %v], turned_deg: %v}", xyz(middle), 2*half[0], 2*half[1], 2*half[2], turn)
	}
	var points []slow.V
	var words []string
	for i := range 5 {
		p := from
		if i%2 == 1 {
			p = to
		}
		for k := range p {
			p[k] += d.within(-thick, thick)
		}
		points, words = append(points, tidy(p)), append(words, xyz(tidy(p)))
	}
	return slow.Shape{Kind: "hull", P: points}, "hull: {points_mm: [" + strings.Join(words, ", ") + "]}"
}

// part writes a part of a shape or two, and returns it.
func (d *drawn) part(name string, link int, shapes ...func() (slow.Shape, string)) *slow.Part {
	p := slow.Part{Name: name, Link: link}
	d.line("  - name: %s\n    fixed_to: %s", name, []string{"ground", "axis 1", "axis 2"}[link])
	if d.coin(4) {
		p.Margin = d.within(0, 40)
		d.line("    margin_mm: %v", p.Margin)
	}
	if d.coin(4) {
		p.Reading = d.within(0, 8)
		d.line("    reading_error_mm: %v", p.Reading)
	}
	if len(shapes) > 0 {
		d.line("    shapes:")
	}
	for _, s := range shapes {
		shape, line := s()
		p.Fixed = append(p.Fixed, shape)
		d.line("      - %s", line)
	}
	d.slow.Parts = append(d.slow.Parts, p)
	return &d.slow.Parts[len(d.slow.Parts)-1]
}

func (d *drawn) shape(kind string, from, to slow.V, thick float64) func() (slow.Shape, string) {
	return func() (slow.Shape, string) { return d.solid(kind, from, to, thick) }
}

// parts draws what stands around, what turns with axis 1 and what is carried.
func (d *drawn) parts() {
	d.line("parts:")
	d.grounds()
	d.carriers()
	d.payload()
	if d.coin(2) { // the pier's head, which axis 1 turns in
		d.part("hub", 1, d.shape("capsule", slow.V{0, -120, 0}, slow.V{0, -20, 0}, d.within(30, 60)))
		if d.slow.Crossing > 0 {
			d.slow.Touch = [][2]string{{"stand", "hub"}}
			d.line("always_touch: [[stand, hub]]")
		}
	}
}

func (d *drawn) grounds() {
	c := d.slow.Crossing
	top := c - d.within(120, 450)
	d.part("stand", 0, d.shape(pick(d.rng, "cylinder", "capsule", "cone", "box"), slow.V{0, 0, 0}, slow.V{d.within(-20, 20), d.within(-20, 20), top}, d.within(40, 130)))
	for i := range d.rng.IntN(3) {
		az, far := d.within(0, 360)*degree, d.within(500, 1700)
		foot := slow.V{far * math.Sin(az), far * math.Cos(az), 0}
		head := slow.V{foot[0] + d.within(-200, 200), foot[1] + d.within(-200, 200), d.within(200, 1.2*c)}
		if d.coin(3) { // a leg
			head = slow.V{60 * math.Sin(az), 60 * math.Cos(az), top}
		}
		d.part(fmt.Sprintf("thing %d", i+1), 0, d.shape(pick(d.rng, "ball", "capsule", "cylinder", "cone", "box", "hull"), foot, head, d.within(15, 120)))
	}
}

// carriers are what turns with axis 1 alone.
func (d *drawn) carriers() {
	if d.slow.Kind == slow.German {
		near, far := -d.within(120, 220), -d.within(230, 480)
		d.part("weights", 1, d.shape(pick(d.rng, "cylinder", "capsule", "cone", "ball"), slow.V{near, 0, 0}, slow.V{far, d.within(-30, 30), d.within(-30, 30)}, d.within(30, 90)))
		return
	}
	side := d.within(190, 300)
	d.part("right arm", 1, d.shape(pick(d.rng, "box", "capsule", "hull"), slow.V{side, -d.within(100, 450), d.within(-40, 40)}, slow.V{side, d.within(0, 60), 0}, d.within(15, 50)))
	if d.coin(2) {
		d.part("left arm", 1, d.shape(pick(d.rng, "box", "cylinder"), slow.V{-side, -d.within(100, 450), 0}, slow.V{-side, d.within(0, 60), 0}, d.within(15, 40)))
	}
}

// payload is what is carried by axis 2.
func (d *drawn) payload() {
	out := 0.0
	if d.slow.Kind == slow.German {
		out = d.within(140, 300)
	}
	front, back := d.within(150, 500), -d.within(100, 350)
	wide := d.within(40, 110)
	d.part("tube", 2, d.shape(pick(d.rng, "cylinder", "capsule", "cone"), slow.V{out, back, 0}, slow.V{out, front, 0}, wide))
	if d.coin(2) {
		d.part("guide scope", 2, d.shape(pick(d.rng, "capsule", "cylinder", "box", "hull"), slow.V{out, d.within(-200, 0), wide + 40}, slow.V{out + d.within(-30, 30), d.within(20, 250), wide + 40}, d.within(20, 45)))
	}
	if d.coin(2) {
		return
	}
	p := d.part("focuser", 2)
	d.line("    states:")
	for _, s := range []slow.PartState{{Low: 0, High: 40}, {Low: 40, High: 90}} {
		shape, line := d.solid(pick(d.rng, "cylinder", "box", "capsule"), slow.V{out, back, 0}, slow.V{out, back - s.High, 0}, d.within(20, 50))
		s.Shapes = append(s.Shapes, shape)
		p.States = append(p.States, s)
		d.line("      - {between_mm: [%v, %v], shapes: [%s]}", s.Low, s.High, "{"+line+"}")
	}
}
