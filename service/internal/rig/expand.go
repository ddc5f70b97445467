package rig

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// The expansion makes parts of the tape's lengths. It may only err outward; by how much stands at each part. All lengths are
// taken as they are; their reading errors go into Part.Reading and Rig.Placing, which widen every pair's required gap.

// floorHalf and floorDeep are the floor's half width and thickness, mm. Choice: wider than the longest reach that a file can
// state (aReach), so that nothing passes its edge; thick enough for a depth of overlap to be told.
const (
	floorHalf = 50_000
	floorDeep = 1_000
	floorName = "floor"
)

// expansion is the parts that a form makes, and the pairs of them that always touch.
type expansion struct {
	parts   []Part
	touch   [][2]string
	problem []error // what the lengths made that is no solid
}

// expand makes the parts of a form.
func (t *tape) expand(k Kind, lat unit.Angle, c *Chain) *expansion {
	e := &expansion{}
	t.ground(e)
	on1, on2 := measuredOn(OnAxis1, k, lat, c), measuredOn(OnAxis2, k, lat, c)
	if k == German {
		t.germanSide(e, on1, on2)
	} else {
		t.forkSide(e, on1, on2)
	}
	t.telescope(e, on2)
	for i := range e.parts {
		e.parts[i].From = "tape"
	}
	return e
}

// add makes a part of one solid.
func (e *expansion) add(name string, link Link, reading float64, s solid.Shape, err error) {
	if err != nil {
		e.problem = append(e.problem, fmt.Errorf("%s: %w", name, err))
		return
	}
	e.parts = append(e.parts, Part{Name: name, Link: link, Reading: unit.Length(reading), Shapes: []solid.Shape{s}})
}

// foot returns the place on the floor below the middle of hub or pier.
func (t *tape) foot() solid.Point { return solid.Point{X: -t.east.mm, Y: -t.north.mm} }

// ground makes floor, hub or pier, legs and walls. Hub and pier are upright cylinders as wide as their widest place; the floor
// is flat at height 0.
func (t *tape) ground(e *expansion) {
	if t.floor {
		s, err := solid.Box(solid.Point{Z: -floorDeep / 2}, upright(0), solid.Point{X: floorHalf, Y: floorHalf, Z: floorDeep / 2})
		e.add(floorName, Ground, 0, s, err)
	}
	up := solid.Point{Z: 1}
	b := t.support
	s, err := solid.Cylinder(t.foot().Add(up.Scale(b.bottom.mm)), t.foot().Add(up.Scale(b.top.mm)), b.diameter.mm/2)
	e.add(b.name, Ground, worst(b.bottom, b.top)+b.diameter.err/2, s, err)
	names := legNames(b.legs)
	for i, az := range b.legs {
		t.leg(e, names[i], az)
	}
	for i, w := range t.walls {
		name := "wall"
		if len(t.walls) > 1 {
			name = fmt.Sprintf("wall %d", i+1)
		}
		s, err := w.solid()
		e.add(name, Ground, 0, s, err)
	}
}

// leg makes one leg, a capsule along its middle line. Outward by: its rounded upper end, half a thickness. The lower end is
// carried below the floor by r·tan(lean), so that a foot cut off flat on the floor lies inside; its rounding lies under the
// floor.
func (t *tape) leg(e *expansion, name string, azDeg float64) {
	b := t.support
	sin, cos := math.Sincos(azDeg * math.Pi / 180)
	out := solid.Point{X: sin, Y: cos}
	r := b.legWide.mm / 2
	top := t.foot().Add(out.Scale(b.legTop.mm)).Add(solid.Point{Z: b.legAt.mm})
	foot := t.foot().Add(out.Scale(b.legFoot.mm))
	lean := math.Abs(b.legFoot.mm-b.legTop.mm) / b.legAt.mm
	foot = foot.Add(foot.Sub(top).Unit().Scale(r * lean))
	s, err := solid.Capsule(top, foot, r)
	e.add(name, Ground, worst(b.legTop, b.legAt, b.legFoot)+b.legWide.err/2, s, err)
}

// placing is what the place of the axes above the ground may be out by: it counts between what stands and what turns.
func (t *tape) placing() float64 { return worst(t.height, t.north, t.east) }

// germanSide makes the mount's body, the bar and the weights. Bar and weights lie along axis 2, so that its turning does not
// move them: they are fixed to axis 1. The body is a capsule from the support's top to the crossing; outward by its rounded
// ends. The weights are one cylinder over all the places that they may sit at.
func (t *tape) germanSide(e *expansion, on1, on2 lengthsFrom) {
	if t.head.mm > 0 {
		s, err := solid.Capsule(t.foot().Add(solid.Point{Z: t.support.top.mm}), on1.origin, t.head.mm/2)
		e.add("mount body", Ground, t.support.top.err+t.head.err/2, s, err)
		e.touch = append(e.touch, [2]string{"mount body", "counterweight bar"})
	}
	b := t.bar
	s, err := solid.Cylinder(on2.origin, on2.at(-b.to.mm, 0, 0), b.bar.mm/2)
	e.add("counterweight bar", OnAxis1, worst(b.to, t.apart)+b.bar.err/2, s, err)
	s, err = solid.Cylinder(on2.at(-b.from.mm, 0, 0), on2.at(-b.to.mm, 0, 0), b.weights.mm)
	e.add("counterweights", OnAxis1, worst(b.from, b.to, b.weights, t.apart), s, err)
}

// forkSide makes base, arms and what joins the base to its support. Arms are boxes as wide and thick as their widest place, and
// wider where the axes do not cross: see armsAcross; the joint (a wedge, say) is the hull of the support's top and the base's underside, both taken as the polygons around their
// circles. The tube hangs between the arms and touches them at its pivots; turning about axis 2 it never leaves the space
// between them, which readFork has made sure is wide enough.
func (t *tape) forkSide(e *expansion, on1, on2 lengthsFrom) {
	f := t.fork
	own := worst(f.length, f.baseHigh) + f.baseDiameter.err/2
	under, upper := on1.at(0, -f.length.mm-f.baseHigh.mm, 0), on1.at(0, -f.length.mm, 0)
	s, err := solid.Cylinder(under, upper, f.baseDiameter.mm/2)
	e.add("fork base", OnAxis1, own, s, err)
	high := f.length.mm + f.beyond.mm
	across, wide, apart := t.armsAcross(on2.origin.Sub(on1.origin).Dot(on1.z))
	for _, side := range []struct {
		name string
		sign float64
	}{{"right arm", 1}, {"left arm", -1}} {
		at := on1.at(side.sign*(f.gap.mm+f.thick.mm)/2, f.beyond.mm-high/2, across)
		s, err := solid.Box(at, on1.turn(), solid.Point{X: f.thick.mm / 2, Y: high / 2, Z: wide / 2})
		e.add(side.name, OnAxis1, worst(f.length, f.beyond, f.thick)+apart+(f.gap.err+f.wide.err)/2, s, err)
	}
	top := t.foot().Add(solid.Point{Z: t.support.top.mm})
	below := t.support.name
	if top.Sub(under).Norm() > 1 { // closer than a millimetre the base stands on the support itself
		below = "wedge"
		points := append(around(top, lengthsFrom{x: solid.Point{X: 1}, y: solid.Point{Y: 1}}, t.support.diameter.mm/2), around(under, lengthsFrom{x: on1.x, y: on1.z}, f.baseDiameter.mm/2)...)
		s, err := solid.Hull(points)
		e.add(below, Ground, own+t.support.top.err+t.support.diameter.err/2, s, err)
	}
	e.touch = append(e.touch, [2]string{below, "fork base"})
	e.touch = append(e.touch, [2]string{"right arm", "tube"}, [2]string{"left arm", "tube"})
}

// armsAcross is the middle and the width of what the arms take up at right angles to both axes, counted from axis 1, and by how much it may
// be out, mm. The arms rise from a base about axis 1 and carry axis 2, which stands aside of axis 1 by so much. The form does not say which of the
// two they are centred on: they may stand about axis 1 with axis 2 off their middle, about axis 2, or lean from one to the other. They take up all three.
// An arm that leans goes on leaning beyond axis 2. Outward by: aside across, and what leaning adds where they stand upright.
func (t *tape) armsAcross(aside float64) (middle, wide, out float64) {
	f := t.fork
	lean := (f.length.mm + f.beyond.mm) / f.length.mm
	return aside * lean / 2, f.wide.mm + math.Abs(aside)*lean, t.apart.err * lean
}

// corners is the number of corners of the polygon around a circle. The polygon stands out by 1/cos(180°/corners) - 1 of the
// radius, 0.5 % for 32.
const corners = 32

// around returns the corners of a polygon that holds a circle in the plane of x and y.
func around(centre solid.Point, plane lengthsFrom, radius float64) []solid.Point {
	plane.origin = centre
	radius /= math.Cos(math.Pi / corners)
	var out []solid.Point
	for i := range corners {
		s, c := math.Sincos(2 * math.Pi * float64(i) / corners)
		out = append(out, plane.at(radius*c, radius*s, 0))
	}
	return out
}

// telescope makes tube, dew shield and camera: cylinders about the tube's axis. Where shield or camera are as wide as the tube,
// the tube ends where they begin; a camera's cylinder is as wide as what stands out farthest anywhere on the circle.
func (t *tape) telescope(e *expansion, on2 lengthsFrom) {
	b := t.tube
	along := func(y float64) solid.Point { return on2.at(b.off.mm, y, 0) }
	front, back := b.front.mm, b.back.mm
	if b.hasShield && b.shield.mm >= b.diameter.mm {
		front = b.shieldFrom.mm
	}
	if b.hasCamera && b.camera.mm >= b.diameter.mm/2 {
		back = b.cameraFrom.mm
	}
	base := worst(b.off, t.apart)
	if front+back > 0 { // else shield and camera leave nothing of it
		s, err := solid.Cylinder(along(-back), along(front), b.diameter.mm/2)
		e.add("tube", OnAxis2, base+worst(b.front, b.back)+b.diameter.err/2, s, err)
	}
	if b.hasShield {
		s, err := solid.Cylinder(along(b.shieldFrom.mm), along(b.front.mm), b.shield.mm/2)
		e.add("dew shield", OnAxis2, base+worst(b.shieldFrom, b.front)+b.shield.err/2, s, err)
	}
	if b.hasCamera {
		s, err := solid.Cylinder(along(-b.cameraFrom.mm), along(-b.back.mm), b.camera.mm)
		e.add("camera", OnAxis2, base+worst(b.cameraFrom, b.back, b.camera), s, err)
	}
}

// solid makes the wall's box: its line, as thick to both sides together as stated.
func (w wallTape) solid() (solid.Shape, error) {
	dx, dy := w.to[0]-w.from[0], w.to[1]-w.from[1]
	middle := solid.Point{X: (w.from[0] + w.to[0]) / 2, Y: (w.from[1] + w.to[1]) / 2, Z: w.high / 2}
	half := solid.Point{X: math.Hypot(dx, dy)/2 + w.thick/2, Y: w.thick / 2, Z: w.high / 2} // outward: half a thickness at each end
	return solid.Box(middle, upright(math.Atan2(dy, dx)), half)
}

// upright returns the rotation about up by an angle from east toward north, radians.
func upright(angle float64) solid.Turn {
	s, c := math.Sincos(angle)
	return solid.Turn{M: [3][3]float64{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}}
}
