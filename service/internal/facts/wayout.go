package facts

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file looks for creeps that lead out of where parts are too near each other, and, where none is proven, for how exactly the pose would have to be
// stated for one to be.

// Shares of the work budget. Choices: all looks for a way out together take some tenths of a second at most, and mostly far less, since the first cells show
// which way closes; of the creeps that open from a touching pose stated to 3° all those of the example rigs take less than one look may.
const (
	helping    = 8        // all looks for what would help
	oneCreep   = settling // one look for a way out: as much as the creep may take when it is asked for, or one that passes would not be named
	looksOut   = 4        // so many of them in all: one each way
	oneHelp    = 32       // one look for what would help
	standsOnly = 16       // whether every margin is kept at the end
)

// farthestOut is how far a creep that is proposed goes at most, degrees. Choice: what brings a part out of a margin or off another is a few.
const farthestOut = 24

// finder looks for creeps from where the rig stands, by work that is bounded in all.
type finder struct {
	in   *Input
	p    *reach.Prover
	from *journey
	left int // cells
	one  int // of them for one look
	done int // looked at
}

// wayOut proposes, from where parts are nearer than they may be, creeps that regain the margin, the shortest first: of each axis, both ways. The
// shortest may go below the floor or toward the Sun. In the place of a creep it does so where that may close a gap, or leaves travel or the floor.
func (in *Input) wayOut(f Set, p *reach.Prover, ways []journey, out *Outcome) {
	first := ways[0]
	if v := f["closing_mm_per_deg"].Number; v != nil && !in.closesBeyond(*v) && !in.beyond(f) || p.Prove(reach.Hold(first.start), first.spread, reach.Budget(in.Cells)).Passes() {
		return
	}
	look := finder{in: in, p: p, from: &first, left: in.Cells * looksOut / oneCreep, one: in.Cells / oneCreep}
	defer func() { out.Sought += look.done }()
	found := look.clear()
	if len(found) == 0 { // of a pose that is not known well the margin may be regained nowhere near: then some way out
		found = look.some()
	}
	for _, by := range found {
		rate := unit.Deg(in.limit("permit", "jog_deg_per_s", 0.1))
		out.Instead = append(out.Instead, Proposal{Steps: []question.Action{{Kind: question.Creep, Axes: &by, Rate: &rate}}, Found: "a creep that leads out"})
	}
	if len(found) == 0 && !p.Prove(reach.Hold(first.start), first.sharp, reach.Budget(in.Cells)).Passes() {
		look.left, look.one = in.Cells/helping, in.Cells/oneHelp
		out.Notes = append(out.Notes, "two parts are nearer than they may be where the rig stands, and of no creep is it proven, from all of where the rig may be, that it leads out: "+look.help())
	}
}

// ways4 are a degree of each axis, both ways.
func ways4() []rig.Axes {
	return []rig.Axes{rig.DegAxes(1, 0), rig.DegAxes(-1, 0), rig.DegAxes(0, 1), rig.DegAxes(0, -1)}
}

// clear are the creeps that end with every margin kept, as far as the pose is known.
func (l *finder) clear() (found []rig.Axes) {
	open := ways4()
	for deg := 1.0; deg <= farthestOut && len(open) > 0; deg *= 1.5 {
		var longer []rig.Axes
		for _, way := range open {
			by := way.Scale(deg)
			clear, opens := l.leadsOut(by)
			switch {
			case clear && opens:
				found = append(found, by)
			case !clear: // else what is not proven of it is not of a longer one
				longer = append(longer, way)
			}
		}
		open = longer
	}
	return found
}

// widens is by how much the least spare has to be wider at a creep's end for the creep to lead out, mm. Choice: what can be seen.
const widens = 0.5

// some is a creep along which no gap too small shrinks, wherever it ends: the longest of those at whose end there is most room, as far as the pose is best known. One
// at whose end there is no more than where it starts turns an axis on which the gap does not depend: it is proposed where parts touch, which shows no
// more, and there is no other.
func (l *finder) some() (found []rig.Axes) {
	stands := l.p.Least(l.from.start).Upper
	for _, deg := range []float64{12, 6, 3, 1} {
		ways, room := ways4(), map[rig.Axes]unit.Length{}
		for i, way := range ways {
			ways[i] = way.Scale(deg)
			room[ways[i]] = l.p.Least(l.from.start.Add(ways[i])).Upper
		}
		slices.SortStableFunc(ways, func(a, b rig.Axes) int { return cmp.Compare(room[b], room[a]) })
		for _, by := range ways {
			wider := room[by] >= stands+widens
			if !wider && len(found) > 0 || !l.in.Rig.Travel.Holds(l.from.start.Add(by)) || !l.opens(by, l.from.spread) {
				continue
			}
			if found = []rig.Axes{by}; wider {
				return found
			}
		}
	}
	return found
}

// leadsOut tells whether a creep ends with every margin kept, as far as the pose is known, and whether no gap too small shrinks along it.
func (l *finder) leadsOut(by rig.Axes) (clear, opens bool) {
	end := l.from.start.Add(by)
	if !l.in.Rig.Travel.Holds(end) || !l.p.Prove(reach.Hold(end), l.from.spread, reach.Budget(l.in.Cells/standsOnly)).Passes() {
		return false, false
	}
	return true, l.opens(by, l.from.spread)
}

// opens tells whether no gap too small shrinks along a creep, as far as there is work left.
func (l *finder) opens(by, spread rig.Axes) bool {
	c := l.in.creepsFrom(l.p, l.from.start, by, spread, min(l.one, l.left))
	l.left, l.done = l.left-c.Cells, l.done+c.Cells
	return c.Decided && !l.in.closesBeyond(c.Closing*perDegree)
}

// help says how exactly the pose would have to be stated, where it is now, for a creep to be proven.
func (l *finder) help() string {
	for share := 0.5; share > 0.01; share /= 2 {
		if !l.starts(l.less(share, share)) {
			continue
		}
		if l.starts(l.less(share*1.5, share*1.5)) {
			share *= 1.5
		}
		for k, one := range []rig.Axes{l.less(share, 1), l.less(1, share)} {
			if l.starts(one) {
				return fmt.Sprintf("one would be if axis %d alone were known %s: have a person look, state where it stands, and ask again, or turn it out by hand", k+1, l.stated(one)[k])
			}
		}
		to := l.stated(l.less(share, share))
		return fmt.Sprintf("one would be if axis 1 were known %s and axis 2 %s: have a person look, state where they stand, and ask again, or turn it out by hand", to[0], to[1])
	}
	return "have a person state the pose more exactly (with a smaller sigma) and ask again, or turn it out by hand"
}

// less is a share of what each axis may be off by what is known of the pose.
func (l *finder) less(share1, share2 float64) rig.Axes {
	sharp := l.from.sharp
	by := l.from.spread.Sub(sharp)
	return sharp.Add(rig.Axes{A1: by.A1 * unit.Angle(share1), A2: by.A2 * unit.Angle(share2)})
}

// starts tells whether some short creep opens from a spread.
func (l *finder) starts(spread rig.Axes) bool {
	for _, way := range ways4() {
		if l.in.Rig.Travel.Holds(l.from.start.Add(way)) && l.opens(way, spread) {
			return true
		}
	}
	return false
}

// stated says how exactly the axes have to be known, rounded toward exactness, and the sigma that states it.
func (l *finder) stated(spread rig.Axes) (out [2]string) {
	by := spread.Sub(l.from.sharp)
	for k, a := range []unit.Angle{by.A1, by.A2} {
		deg := math.Floor(a.Deg()*100) / 100
		out[k] = fmt.Sprintf("to ±%.2f° (a sigma of %.2f°)", deg, math.Floor(deg*100/3)/100)
	}
	return out
}
