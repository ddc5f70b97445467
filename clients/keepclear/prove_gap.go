package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// tapeError is by how much a gap may be misread, mm, either way: what the service takes where a reading states nothing.
const tapeError = 3.0

// pose asks for the gaps at one pose, all of them at one visit: between two evenings the rig may have been moved.
func (p *proof) pose(g *pb.GaugePose) error {
	if len(p.kept.readings(g)) > 0 {
		p.step("the gaps at %s are measured.", axes(g.GetAxes()))
		return nil
	}
	p.step("from home %s.", wayWords(p.plan.GetHome(), g))
	at, err := p.standing(g.GetAxes())
	if err != nil {
		return err
	}
	var all []*pb.GaugeReading
	for _, gap := range g.GetGaps() {
		r, err := p.measured(at, gap, false)
		if err != nil {
			return err
		}
		all = append(all, r)
	}
	p.say("Measured. Turn back to home by the same way, the other way round.")
	return p.kept.putReadings(g, all)
}

// wayWords say the way to a pose, one axis after the other.
func wayWords(home *pb.AxisPair, g *pb.GaugePose) string {
	var said []string
	from := home
	for _, to := range g.GetWay() {
		axis, deg := 1, to.GetAxis1Deg()
		if to.GetAxis1Deg() == from.GetAxis1Deg() {
			axis, deg = 2, to.GetAxis2Deg()
		}
		said = append(said, fmt.Sprintf("turn axis %d to %.1f°", axis, deg))
		from = to
	}
	k := g.GetKeepWithin()
	return fmt.Sprintf("%s. Keep the axis that does not turn within %.0f°", strings.Join(said, ", then "), min(k.GetAxis1Deg(), k.GetAxis2Deg()))
}

// remeasured offers to measure a gap again that was judged, and does so; false where none is wanted. Of the other gaps of its pose nothing changes.
func (p *proof) remeasured(all []*pb.GaugeReading) (bool, error) {
	for {
		text, err := p.line("To measure one of them again, type the number before it; to go on, just press Enter.")
		if err != nil || text == "" {
			return false, err
		}
		if n, bad := strconv.Atoi(text); bad == nil && n >= 1 && n <= len(all) {
			return true, p.again(n - 1)
		}
		p.say("%s is none of the numbers, 1 to %d.", asTyped(text), len(all))
	}
}

// again has one gap of the plan measured again, the n-th of all.
func (p *proof) again(n int) error {
	for _, g := range p.plan.GetGaugePoses() {
		if n >= len(g.GetGaps()) {
			n -= len(g.GetGaps())
			continue
		}
		p.say("From home %s.", wayWords(p.plan.GetHome(), g))
		at, err := p.standing(g.GetAxes())
		if err != nil {
			return err
		}
		r, err := p.measured(at, g.GetGaps()[n], true)
		if err != nil {
			return err
		}
		p.say("Measured. Turn back to home by the same way, the other way round.")
		return p.kept.putReading(g, n, r)
	}
	return nil
}

// measured asks for one gap, and again where the reading is not what the file says: a tape slips more often than a file is wrong. What the file
// says is not told before: a tired person reads what is expected. Two readings that disagree want a third. Of a gap that was measured before, one
// reading is never enough.
func (p *proof) measured(at *pb.AxisPair, gap *pb.Gap, before bool) (*pb.GaugeReading, error) {
	names := gap.GetParts()
	question := fmt.Sprintf("How many mm between the %s and the %s, where they are nearest?", names[0], names[1])
	mm, err := p.length(question)
	if err != nil {
		return nil, err
	}
	r := &pb.GaugeReading{Axes: at, Part: names[0], OtherPart: names[1], GapMm: &mm}
	out, err := p.judge(&pb.JudgeGaugesRequest{Readings: []*pb.GaugeReading{r}})
	if err != nil {
		return nil, err
	}
	one, once := out.GetResiduals()[0], "It was measured before, otherwise."
	if math.Abs(one.GetResidualMm()) > one.GetAllowedMm() {
		once = "That is not what the file says." + otherUnit(mm, one)
	} else if !before {
		return r, nil
	}
	all := []float64{mm}
	for _, why := range []string{once + " Take the tape off and measure it once more.", "The two readings disagree. Measure it a third time."} {
		p.say("%s", why)
		again, err := p.length(question)
		if err != nil {
			return nil, err
		}
		if all = append(all, again); agree(mm, again) {
			break
		}
	}
	counts := worstReading(all, one.GetComputedMm())
	r.GapMm = &counts
	return r, nil
}

// otherUnit asks whether a reading that is not what the file says was read in another unit, where it would be what the file says in that.
func otherUnit(mm float64, one *pb.GaugeResidual) string {
	for _, u := range []struct {
		name, short string
		mm          float64
	}{{"inches", "in", inch}, {"centimetres", "cm", 10}} {
		if tenths := u.mm / 5; mm > 0 && math.Abs(mm*u.mm-one.GetComputedMm()) <= one.GetAllowedMm()+tenths { // so exactly it is read
			return fmt.Sprintf(" It would be in %s: if that is what the tape shows, type \"%s\" behind the number.", u.name, u.short)
		}
	}
	return ""
}

// agree tells whether two readings may be of one gap.
func agree(a, b float64) bool { return math.Abs(a-b) <= 2*tapeError }

// worstReading is, of the readings that another agrees with (of all of them where none do), the one that is farthest from what the file says.
func worstReading(all []float64, file float64) float64 {
	var agreed []float64
	for i, a := range all {
		for k, b := range all {
			if i != k && agree(a, b) {
				agreed = append(agreed, a)
				break
			}
		}
	}
	if len(agreed) == 0 {
		agreed = all
	}
	worst := agreed[0]
	for _, a := range agreed {
		if math.Abs(a-file) > math.Abs(worst-file) {
			worst = a
		}
	}
	return worst
}
