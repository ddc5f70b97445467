package rig

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// Opener reads a file that a rig file names: its class file, a mesh. The name is a bare file name, of a file beside the rig
// file; nil opens nothing. Files larger than LargestOpened are of no use.
type Opener func(name string) ([]byte, error)

// Parse reads a rig file with the files it names. Either the rig is whole and every check of this package has passed, or it is
// nil and every fault found is told, by line. A file cut off anywhere is a fault: its last key repeats its id.
func Parse(file string, content []byte, open Opener) (*Rig, []Fault) {
	r, faults, _ := Examine(file, content, open)
	return r, faults
}

// Examine is Parse, and tells of a file that does not load too what a person should look at again: what looks like another unit, or
// mirrored, is often why parts overlap.
func Examine(file string, content []byte, open Opener) (*Rig, []Fault, []Find) {
	return parse(file, content, open, drawn{digests: map[string][32]byte{}, taken: map[meshUse]*Drawn{}})
}

// parse is Examine with what is known of meshes.
func parse(file string, content []byte, open Opener, known drawn) (*Rig, []Fault, []Find) {
	f := &faults{file: file}
	own := readTree(file, content, f)
	if own == nil || f.broken {
		return nil, f.sorted(), nil
	}
	before := len(f.all)
	class, limits := readClass(own, open, f)
	if len(f.all) > before { // what the class would have given is missing now, and telling so line by line would hide the cause
		return nil, f.sorted(), nil
	}
	top := &reader{f: f, at: under(own, class)}
	r := &Rig{Limits: append(limits, readLimits(&reader{f: f, at: own})...)}
	p := &partsReader{f: f, open: open, drawn: known}
	readHead(r, top)
	readMechanics(r, top, p)
	readDeclarations(r, top)
	readEnd(top, own, "rig")
	top.close()
	if len(f.all) > 0 {
		return nil, f.sorted(), Ordered(f.notices)
	}
	r.checkAngles(top)
	r.Notices, r.places = f.notices, placesOf(top.at)
	r.check(top, f)
	r.Notices = Ordered(r.Notices)
	if len(f.all) > 0 {
		return nil, f.sorted(), r.Notices
	}
	r.Digest, r.drawn = digest(top.at, r.Limits, p.drawn.digests), p.drawn
	return r, nil, r.Notices
}

// fileName is what a file named in a rig file may be called: a name, never a way somewhere else.
var fileName = regexp.MustCompile(`^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,99}$`)

// opened reads a file named in a rig file.
func opened(r *reader, key string, open Opener) (name string, content []byte) {
	n := r.need(key, "the name of a file", "a bare name, of a file beside this one")
	if n == nil {
		return "", nil
	}
	if n.kind != scalar || !fileName.MatchString(n.text) {
		r.f.add(n, r.key(key), "the name of a file beside this one", n.says(), "letters, digits, . _ - and no folders")
		return "", nil
	}
	if open == nil {
		r.f.add(n, r.key(key), "nothing, since no other file can be read here", quote(n.text), "check the file where its neighbours are")
		return "", nil
	}
	content, err := open(n.text)
	if err != nil {
		r.f.add(n, r.key(key), "a file that can be read", strings.ReplaceAll(err.Error(), "\n", " "), "put it beside this one")
		return "", nil
	}
	return n.text, content
}

// readClass reads the class file, if the rig follows one: its keys, less its own head, and the limits that it sets.
func readClass(own *node, open Opener, f *faults) (*node, []Limit) {
	head := &reader{f: f, at: own}
	if !head.has("class") {
		return nil, nil
	}
	name, content := opened(head, "class", open)
	if name == "" {
		return nil, nil
	}
	class := readTree(name, content, f)
	if class == nil {
		return nil, nil
	}
	for _, e := range class.entries {
		if slices.Contains([]string{"rig", "title", "practice", "site"}, e.key) {
			f.add(e.place, e.key, "what several rigs share", quote(e.key), "it belongs into the rig file")
		}
	}
	readEnd(&reader{f: f, at: class}, class, "class")
	limits := readLimits(&reader{f: f, at: class})
	class.entries = slices.DeleteFunc(class.entries, func(e entry) bool { return e.key == "class" || e.key == "end" })
	return class, limits
}

// readEnd checks the last key, which repeats the first: without it a file cut off between two keys would be another, lawful rig.
func readEnd(r *reader, own *node, head string) {
	first := own.find(head)
	n := r.need("end", "the last key, which repeats "+head, "write it as the last line; if it was there, the file has lost its end")
	if n == nil || first == nil {
		return
	}
	if n.text != first.text || own.entries[len(own.entries)-1].key != "end" {
		r.f.add(n, "end", quote(first.text)+", as the last key of the file", n.says(), "if it stood there, the file has been cut or joined with another")
	}
}

// takenID is the record's own chain, which no rig may share.
const takenID = "service"

var rigID = regexp.MustCompile(`^[a-z][a-z0-9-]{0,62}$`)

// readHead reads what the rig is and where it stands.
func readHead(r *Rig, top *reader) {
	if n := top.need("rig", "the rig's id", "small letters, digits and hyphens"); n != nil {
		if r.ID = n.text; n.kind != scalar || !rigID.MatchString(n.text) {
			top.f.add(n, "rig", "an id of small letters, digits and hyphens, at most 63, a letter first", n.says(), "as heron")
		} else if n.text == takenID {
			top.f.add(n, "rig", "an id other than "+takenID+", under which the record keeps what concerns no rig", n.says(), "as heron")
		}
	}
	r.Title = top.name("title")
	if n := top.peek("class"); n != nil {
		r.Class = n.text
	}
	r.Practice = top.yesOr("practice", false)
	if r.Kind = Kind(top.word("kind", string(German), string(Fork), string(AltAzimuth))); r.Kind == "" {
		r.Kind = meantKind(top)
	}
	s := top.needBlock("site", "where the rig stands")
	r.Site = Site{
		Lat: unit.Deg(s.number("latitude_deg", aLatitude)), Lon: unit.Deg(s.number("longitude_deg", aLongitude)),
		HeightM: s.number("height_m", aHeight),
	}
	r.Site.PressureHPa = s.numberOr("pressure_hpa", aPressure, airAt(r.Site.HeightM))
	r.Site.TemperatureC = s.numberOr("temperature_celsius", aWarmth, 10)
	s.close()
	if t, has := top.block("polar_error"); has {
		r.Tilt = Tilt{East: unit.Deg(t.number("east_deg", aTilt)), Up: unit.Deg(t.number("up_deg", aTilt))}
		t.close()
	}
}

// meantKind is the kind that a file means which names none rightly: the only one whose name begins as it does, or else the one whose form it fills in;
// empty where neither tells. The file does not load, and what else is wrong with it is to be told at once.
func meantKind(top *reader) Kind {
	if n := top.at.find("kind"); n != nil && n.text != "" {
		if word := begun(n.text, []string{string(German), string(Fork), string(AltAzimuth)}); word != "" {
			return Kind(word)
		}
	}
	form := top.at.find("tape")
	switch {
	case form == nil:
		return ""
	case form.find("fork") != nil:
		return AltAzimuth
	case form.find("bar_diameter_mm") != nil || form.find("weights_radius_mm") != nil:
		return German
	}
	return ""
}

// readMechanics reads parts, home, rests and travel.
func readMechanics(r *Rig, top *reader, p *partsReader) {
	form := top.needBlock("tape", "the lengths of the blank form")
	if r.Kind == "" {
		form.at = nil
		top.known = append(top.known, "parts", "leave_out", "always_touch") // nothing is said of them, for they cannot be read
	}
	t := readTape(form, r.Kind)
	form.close()
	sound := len(top.f.all) == 0 // else some length is missing, and parts made of it would only raise faults that are none
	home := top.need("home_deg", "the axis angles of home, from the zero of the design", "[0, 0] for most")
	r.Home = pose(top.numbers(home, "home_deg", aPose, 2))
	for i, n := range top.list("rests", 20) {
		b := top.blockOf(n, top.item("rests", i))
		r.Rests = append(r.Rests, Rest{Name: b.name("name"), Axes: b.axes("axes_deg", aPose)})
		b.close()
	}
	r.Travel = readTravel(top, r.Home)
	r.Limits = append(r.Limits, travelLimits(top, r.Travel)...)
	if r.Kind != "" {
		readParts(r, top, p, &t, sound)
	}
}

// readParts makes the axes and the parts: the form's, where its lengths are sound, and those written out.
func readParts(r *Rig, top *reader, p *partsReader, t *tape, sound bool) {
	r.Chain, r.Placing = t.chain(r), unit.Length(t.placing())
	for l := range p.frames {
		p.frames[l] = measuredOn(Link(l), r.Kind, r.Site.Lat, &r.Chain)
	}
	var written []Part
	for i, n := range top.list("parts", mostParts) {
		written = append(written, p.part(top.blockOf(n, top.item("parts", i))))
	}
	e := &expansion{}
	if sound {
		e = t.expand(r.Kind, r.Site.Lat, &r.Chain)
	}
	for _, problem := range e.problem {
		top.f.add(top.at.find("tape"), "tape", "lengths that make solids", problem.Error(), "measure again")
	}
	r.assemble(top, e, written)
}

// chain makes the axes of a form.
func (t *tape) chain(r *Rig) Chain {
	// German: toward the left of somebody who looks along the tube at zero. Dir1 × Dir2 of the chain points there in both hemispheres:
	// (-n)×up is west in the north, n×up east in the south, n being the pole over the horizon at which the tube points.
	miss := t.apart.mm
	if r.Kind != German {
		miss = -miss // Dir1 × Dir2 points away from the tube, and miss counts toward it
	}
	return NewChain(r.Kind, r.Site.Lat, r.Tilt, frame.Vec[frame.Rig]{Z: t.height.mm}, unit.Length(miss))
}

// readTravel reads the travel, which the file states from home, into angles from zero.
func readTravel(top *reader, home Axes) Travel {
	b := top.needBlock("travel_from_home", "how far each axis may turn, both ways from home")
	read := func(key string) (low, high unit.Angle) {
		v := b.numbers(b.needs(key, aPose.times(2), "lowest first"), b.key(key), aPose, 2)
		if v == nil {
			return 0, 0
		}
		if v[0] > 0 || v[1] < 0 || v[0] == v[1] {
			b.f.add(b.peek(key), b.key(key), "the lowest, at most 0, then the highest, at least 0", fmt.Sprintf("[%s, %s]", short(v[0]), short(v[1])), "travel counts from home, which lies within it")
		}
		return unit.Deg(v[0]), unit.Deg(v[1])
	}
	low1, high1 := read("axis1_deg")
	low2, high2 := read("axis2_deg")
	b.close()
	return Travel{Low: home.Add(Axes{low1, low2}), High: home.Add(Axes{high1, high2})}
}

// travelLimits makes of the travel the limits that the rules on travel judge by, from the zero of the axes, in degrees as a
// person would have added them up.
func travelLimits(top *reader, t Travel) []Limit {
	n := top.peek("travel_from_home")
	if n == nil {
		return nil
	}
	limit := func(axis, name string, a unit.Angle) Limit {
		const tidy = 1e9 // a billionth of a degree is far below what any axis is read to
		at := n
		if own := n.find(axis + "_deg"); own != nil {
			at = own
		}
		return Limit{Rule: "travel/" + axis, Name: name, Value: math.Round(a.Deg()*tidy) / tidy, File: at.file, Line: at.line}
	}
	return []Limit{
		limit("axis1", "low_deg", t.Low.A1), limit("axis1", "high_deg", t.High.A1),
		limit("axis2", "low_deg", t.Low.A2), limit("axis2", "high_deg", t.High.A2),
	}
}

// readDeclarations reads what the mount does and what the rig has.
func readDeclarations(r *Rig, top *reader) {
	r.Motion = readMotion(top.needBlock("motion", "how the axes move"))
	mount := top.needBlock("mount", "what the mount's own program does")
	r.Mount = readMount(mount, r.Kind)
	if r.Kind == German && r.Mount.Chooses == FirstOnly {
		mount.f.add(mount.peek("side_chosen_by"), mount.key("side_chosen_by"), "hour angle, asker or any: a german equatorial works on both sides", `"first only"`, "say who chooses between them")
	}
	r.Sources = readSources(top, r.Mount)
	r.Homing = readHoming(top.needBlock("homing", "how home is found"))
	r.Stop = readFallback(top.needBlock("if_asker_dies", "what stops a motion then"))
	for i, n := range top.list("optics", 20) {
		o := readOptics(top.blockOf(n, top.item("optics", i)))
		if slices.ContainsFunc(r.Optics, func(b Optics) bool { return b.Name == o.Name }) {
			top.f.add(n, top.item("optics", i), "each name once", quote(o.Name)+" again", "rename one")
		}
		r.Optics = append(r.Optics, o)
	}
	r.Solver = readSolver(top)
	r.Lacks = readWords(top, "has_no", "drag", "roof", "neighbours")
	r.Horizon = readSkyline(top)
	top.peek("limits") // read from each file by itself
}

// assemble joins the form's parts and those written out: a written one takes the place of one of the same name.
func (r *Rig) assemble(top *reader, e *expansion, written []Part) {
	out := top.list("leave_out", mostParts)
	for i, n := range out {
		at := slices.IndexFunc(e.parts, func(p Part) bool { return p.Name == n.text })
		if at < 0 && len(e.parts) > 0 {
			top.f.add(n, top.item("leave_out", i), "a part that the form makes: "+strings.Join(names(e.parts), ", "), n.says(), "leave it away here")
		} else if at >= 0 {
			e.parts = slices.Delete(e.parts, at, at+1)
		}
	}
	r.Parts = e.parts
	for i, p := range written {
		if slices.ContainsFunc(written[:i], func(o Part) bool { return o.Name == p.Name && p.Name != "" }) {
			top.f.add(top.at.find("parts").items[i], top.item("parts", i), "each name once", quote(p.Name)+" again", "rename one")
		}
		if at := slices.IndexFunc(r.Parts, func(o Part) bool { return o.Name == p.Name }); at >= 0 {
			if r.Parts[at].From == "tape" {
				tellReplaced(top.f, top.at.find("parts").items[i], &r.Parts[at], &written[i])
			}
			r.Parts[at] = p
			continue
		}
		r.Parts = append(r.Parts, p)
	}
	r.readTouch(top, e)
}

// mostTouching bounds the pairs that always touch. Choice: two for each part that a file may hold.
const mostTouching = 2 * mostParts

// readTouch finds the pairs that always touch: the form's own, as far as both parts are still the form's, and the file's.
func (r *Rig) readTouch(top *reader, e *expansion) {
	for _, t := range e.touch {
		a, b := r.part(t[0]), r.part(t[1])
		if a >= 0 && b >= 0 && r.Parts[a].From == "tape" && r.Parts[b].From == "tape" {
			r.Allowed = append(r.Allowed, [2]int{a, b})
		}
	}
	for i, n := range top.list("always_touch", mostTouching) {
		key := top.item("always_touch", i)
		if n.kind != list || len(n.items) != 2 {
			top.f.add(n, key, "a list of 2 names of parts", n.says(), `each pair has brackets of its own, as always_touch: [[mount body, counterweight bar]]`)
			continue
		}
		r.touch(top, n, key)
	}
}

// touch reads one pair that always touches.
func (r *Rig) touch(top *reader, n *node, key string) {
	var at [2]int
	for j, c := range n.items {
		if at[j] = r.part(c.text); at[j] < 0 {
			if len(r.Parts) > 0 {
				top.f.add(c, join(key, strconv.Itoa(j+1)), "the name of a part: "+strings.Join(names(r.Parts), ", "), c.says(), nearest(c.text, names(r.Parts)))
			}
			return
		}
	}
	a, b := r.Parts[at[0]], r.Parts[at[1]]
	if d := a.Link - b.Link; d != 1 && d != -1 {
		got := fmt.Sprintf("%s on %s and %s on %s", quote(a.Name), a.Link, quote(b.Name), b.Link)
		remedy := "parts of one link never collide: take the pair away"
		if d != 0 {
			remedy = "the ground and axis 2 must never touch: correct the lengths"
		}
		top.f.add(n, key, "parts of neighbouring links: ground and axis 1, or axis 1 and axis 2", got, remedy)
		return
	}
	links := r.Chain.links(r.Home)
	if _, gap := overlap(&a, &b, gapBetween(links[a.Link], links[b.Link])); gap > touching {
		top.f.add(n, key, "parts that touch at home", fmt.Sprintf("%.1f mm between them", gap), "take the pair away: pairs listed here are never judged")
	}
	r.Allowed = append(r.Allowed, at)
}

// touching is the gap up to which two parts count as touching, mm: what a tape is read to.
const touching = 1

// part returns the index of a part by name; -1 where there is none.
func (r *Rig) part(name string) int {
	return slices.IndexFunc(r.Parts, func(p Part) bool { return p.Name == name })
}

func names(parts []Part) []string {
	var out []string
	for _, p := range parts {
		out = append(out, p.Name)
	}
	return out
}
