package rig

import (
	"math"
	"strconv"
)

// tape is the tape-measure form: a rig as a person measures it. All lengths are millimetres.
type tape struct {
	height      measured // floor to the point of axis 1 nearest axis 2
	north, east measured // that point from the middle of the hub or pier
	apart       measured // by how much the axes miss each other: see chain
	support     support
	head        measured // German: thickness of the mount's body between support and crossing; 0: not modelled
	tube        tubeTape
	bar         barTape  // German
	fork        forkTape // the others
	floor       bool
	walls       []wallTape
}

// support is what the mount stands on: a tripod, or a pier with no legs.
type support struct {
	name             string // "hub" or "pier"
	diameter         measured
	bottom, top      measured
	legs             []float64 // azimuths, degrees
	legTop, legAt    measured  // leg's middle from the hub's: radius at a height
	legFoot, legWide measured  // radius at the floor; thickness
}

// tubeTape is the telescope: everything that turns with axis 2.
type tubeTape struct {
	off                  measured // tube axis from the crossing, along axis 2
	diameter             measured
	front, back          measured // from axis 2 along the tube
	shield, shieldFrom   measured // diameter, where it begins; 0: none
	camera, cameraFrom   measured // widest radius about the tube axis, from where on; 0: none
	hasShield, hasCamera bool
}

// barTape is the counterweight side of a German mount.
type barTape struct {
	bar, weights measured // diameter of the bar, radius of the weights
	from, to     measured // of the weights along the bar, from the crossing
}

// forkTape is a fork: a base about axis 1 and two arms that carry axis 2.
type forkTape struct {
	length, beyond         measured // of the arms: base to axis 2, and beyond it
	gap, thick, wide       measured // between the arms; of each along axis 2, and across
	baseDiameter, baseHigh measured
}

// wallTape is an upright wall: its line on the ground in rig coordinates, its height and thickness.
type wallTape struct {
	from, to    [2]float64
	high, thick float64
}

// readTape reads the form for a kind of mount.
func readTape(r *reader, k Kind) tape {
	err := r.numberOr("reading_error_mm", errorSpan, 0)
	t := tapeReader{r, err}
	out := tape{
		height: t.length("floor_to_crossing_mm", aLength, "from the floor up to where the two axes cross, or to axis 1 where axis 2 passes it"),
		north:  t.length("crossing_north_of_hub_mm", aPlace, "sideways from the middle of the hub or pier to the same place; 0 if it stands above it, negative: south"),
		east:   t.lengthOr("crossing_east_of_hub_mm", aPlace, 0),
		apart:  t.lengthOr("axes_apart_mm", aPlace, 0),
	}
	out.support = readSupport(t)
	out.head = t.lengthOr("head_diameter_mm", aLength, 0)
	out.tube = readTube(t, k)
	if k == German {
		out.bar = readBar(t)
	} else {
		out.fork = readFork(t)
		out.fits(t)
		out.headless(t)
	}
	out.floor = r.yesOr("floor", true)
	for i, n := range r.list("walls", 50) {
		out.walls = append(out.walls, readWall(r.blockOf(n, r.item("walls", i))))
	}
	out.through(r)
	return out
}

func readSupport(t tapeReader) support {
	tripod, legs := t.inner("tripod")
	pier, column := t.inner("pier")
	if legs == column && t.at != nil {
		got := "neither"
		if legs {
			got = "both"
		}
		t.f.add(t.at, t.key("tripod"), "a block tripod or a block pier", got, "say what the mount stands on")
	}
	if column {
		out := support{name: "pier", diameter: pier.length("diameter_mm", aLength, "across its widest place"), top: pier.length("height_mm", aLength, "floor to its top")}
		pier.close()
		return out
	}
	return readTripod(tripod)
}

func readTripod(t tapeReader) support {
	out := support{
		name:     "hub",
		diameter: t.length("hub_diameter_mm", aLength, "across the widest place where the legs join"),
		bottom:   t.length("hub_bottom_mm", aReach, "floor to its lower edge"),
		top:      t.length("hub_top_mm", aLength, "floor to its upper edge"),
		legs:     readAzimuths(t.reader),
		legTop:   t.length("leg_top_radius_mm", aReach, "from the hub's middle line to the middle of a leg at its top"),
		legAt:    t.length("leg_top_height_mm", aLength, "floor to that place"),
		legFoot:  t.length("leg_foot_radius_mm", aReach, "from below the hub's middle to the middle of a foot"),
		legWide:  t.length("leg_diameter_mm", aLength, "across a leg's widest place"),
	}
	if t.at != nil && out.top.mm > 0 && out.bottom.mm >= out.top.mm {
		t.f.add(t.peek("hub_top_mm"), t.key("hub_top_mm"), "a height above hub_bottom_mm, "+short(out.bottom.mm), short(out.top.mm), "exchange them")
	}
	t.close()
	return out
}

func readAzimuths(r *reader) []float64 {
	n := r.need("leg_azimuths_deg", "a list of azimuths, north through east", "which way each leg points, as [0, 120, 240]")
	var out []float64
	for i, c := range r.listOf(n, r.key("leg_azimuths_deg"), 12) {
		out = append(out, r.numberOf(c, join(r.key("leg_azimuths_deg"), strconv.Itoa(i+1)), anAzimuth))
	}
	return out
}

func readTube(t tapeReader, k Kind) tubeTape {
	out := tubeTape{}
	if k == German {
		out.off = t.length("crossing_to_tube_mm", aReach, "along axis 2 from the crossing to the middle of the tube")
	} else {
		out.off = t.lengthOr("crossing_to_tube_mm", aPlace, 0)
	}
	out.diameter = t.length("tube_diameter_mm", aLength, "across the widest place of tube, rings and finder rail")
	out.front = t.length("front_reach_mm", aLength, "along the tube from axis 2 to the front end, shield included")
	out.hasShield = t.has("shield_diameter_mm") || t.has("shield_from_mm")
	if out.hasShield {
		out.shield = t.length("shield_diameter_mm", aLength, "across the dew shield")
		out.shieldFrom = t.length("shield_from_mm", aPlace, "along the tube from axis 2 to where the shield begins")
	}
	out.back = t.length("back_reach_mm", aLength, "along the tube from axis 2 to the rear end, camera and plugs included, focuser out")
	out.hasCamera = t.has("camera_radius_mm") || t.has("camera_from_mm")
	if out.hasCamera {
		out.camera = t.length("camera_radius_mm", aLength, "from the tube's middle line to what stands out farthest at the camera, turned all the way round")
		out.cameraFrom = t.length("camera_from_mm", aPlace, "along the tube from axis 2 back to where that begins")
	}
	out.orders(t)
	out.backward(t)
	out.proportions(t, k)
	return out
}

// orders checks that the tube's stations follow one another.
func (b *tubeTape) orders(t tapeReader) {
	if b.hasShield && b.shieldFrom.mm >= b.front.mm && b.front.mm > 0 {
		t.f.add(t.peek("shield_from_mm"), t.key("shield_from_mm"), "a place behind the front end, front_reach_mm "+short(b.front.mm), short(b.shieldFrom.mm), "both are counted from axis 2")
	}
	if b.hasCamera && b.cameraFrom.mm >= b.back.mm && b.back.mm > 0 {
		t.f.add(t.peek("camera_from_mm"), t.key("camera_from_mm"), "a place before the rear end, back_reach_mm "+short(b.back.mm), short(b.cameraFrom.mm), "both are counted from axis 2, backward")
	}
}

// backward notices ends of the tube that are counted the wrong way from axis 2: shield forward, camera backward.
func (b *tubeTape) backward(t tapeReader) {
	note := func(key, wanted string, got measured, remedy string) {
		if n := t.peek(key); n != nil && got.mm < 0 {
			t.f.notice(Mirrored, n, t.key(key), wanted, n.text, remedy)
		}
	}
	note("shield_from_mm", "a place before axis 2, counted forward", b.shieldFrom, "back to front: write it without the minus; if the shield begins so far behind axis 2, leave it")
	note("camera_from_mm", "a place behind axis 2, counted backward", b.cameraFrom, "back to front: write it without the minus; if what stands out begins so far before axis 2, leave it")
}

func readBar(t tapeReader) barTape {
	out := barTape{
		bar:     t.length("bar_diameter_mm", aLength, "across the counterweight bar"),
		weights: t.length("weights_radius_mm", aLength, "from the bar's middle line to the rim of the widest weight"),
		from:    t.length("weights_from_mm", aReach, "along the bar from the crossing to the near side of the weights, where they sit nearest"),
		to:      t.length("weights_to_mm", aLength, "along the bar from the crossing to the end of weights or bar, whichever is farther"),
	}
	if out.to.mm > 0 && out.from.mm >= out.to.mm {
		t.f.add(t.peek("weights_to_mm"), t.key("weights_to_mm"), "a place beyond weights_from_mm, "+short(out.from.mm), short(out.to.mm), "both are counted from the crossing")
	}
	return out
}

func readFork(t tapeReader) forkTape {
	b := tapeReader{t.needBlock("fork", "its lengths, as in the blank form"), t.err}
	out := forkTape{
		length:       b.length("arm_length_mm", aLength, "along axis 1 from the top of the base to axis 2"),
		beyond:       b.length("arm_beyond_axis2_mm", aReach, "from axis 2 on to the end of the arms"),
		gap:          b.length("arm_gap_mm", aLength, "clear width between the arms"),
		thick:        b.length("arm_thickness_mm", aLength, "of one arm, measured along axis 2, knobs included"),
		wide:         b.length("arm_width_mm", aLength, "of one arm, measured across, at its widest"),
		baseDiameter: b.length("base_diameter_mm", aLength, "across the turning base"),
		baseHigh:     b.length("base_height_mm", aLength, "of the base, along axis 1"),
	}
	b.close()
	return out
}

// fits checks that the tube turns freely between the arms of the fork.
func (t *tape) fits(r tapeReader) {
	wide := t.tube.diameter.mm + 2*math.Abs(t.tube.off.mm)
	if n := r.peek("tube_diameter_mm"); n != nil && t.fork.gap.mm > 0 && wide >= t.fork.gap.mm {
		r.f.add(n, r.key("tube_diameter_mm"), "a tube that turns between the arms, fork.arm_gap_mm "+short(t.fork.gap.mm), short(wide)+" mm with twice its place beside the middle", "measure both again; rings and rails may be parts of their own")
	}
}

// headless notices a mount's body that only a German has in the form.
func (t *tape) headless(r tapeReader) {
	if n := r.peek("head_diameter_mm"); n != nil && t.head.mm > 0 {
		r.f.notice(Unused, n, r.key("head_diameter_mm"), "a length of this kind of mount", n.says(),
			"nothing uses it: the form makes a mount's body for a German alone; take it away, and write what stands there as a part of its own if it is wider than base and support")
	}
}

func readWall(r *reader) wallTape {
	from := r.numbers(r.need("from_mm", "a place, [east, north]", "from below the crossing"), r.key("from_mm"), aPlace, 2)
	to := r.numbers(r.need("to_mm", "a place, [east, north]", "from below the crossing"), r.key("to_mm"), aPlace, 2)
	sized := func(key string) float64 { return r.number(key, aLength.sized(sizeOf(r.key(key)))) }
	w := wallTape{high: sized("height_mm"), thick: sized("thickness_mm")}
	if from != nil && to != nil {
		w.from, w.to = [2]float64(from), [2]float64(to)
		if w.from == w.to {
			r.f.add(r.at, r.key("to_mm"), "another place than from_mm", "the same", "give both ends of the wall")
		}
		along := math.Hypot(to[0]-from[0], to[1]-from[1])
		aLength.sized(size{0, shortWall}).look(r.f, &node{file: r.at.file, line: r.at.line, column: r.at.column, text: short(along)}, r.path, along)
	}
	r.close()
	return w
}
