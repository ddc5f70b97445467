package slow

import "math"

// Whether a way out from below the floor leads there again.

// clearly is how far beside the floor what a way does counts: it is looked at in poses.
const clearly = 0.5 * degree

// sinksAgain tells whether the tube comes below the floor after it stood so far above it that it did so wherever in the pose's uncertainty the
// rig is. Of a leg in any order some way does where it shows both, neither axis farther on where it stands above.
func (p *play) sinksAgain() bool {
	floor, risen := p.limit("sky/floor altitude_deg")*degree, false
	surely := floor + clearly
	if !p.sharp {
		box := p.more.add(p.places[p.from].Sigma.times(Axes{3, 3}))
		surely += 2 * (box[0] + box[1])
	}
	for i := range p.way.legs {
		rose := math.Inf(1) // the least share of axis 2 with which it stood above by now
		if risen {
			rose = 0
		}
		for _, at := range p.way.legs[i].net(i) {
			a, _ := p.way.pose(&at, Axes{})
			_, alt := p.r.direction(a).azAlt()
			if alt >= surely {
				rose, risen = min(rose, at.two), true
			}
			if at.two >= rose && alt < floor-clearly {
				return true
			}
		}
	}
	return false
}

// net is places all over a leg, in the order of how far axis 1 is on and then axis 2; of a leg whose axes share the time, in that of time.
func (l *leg) net(leg int) []place {
	n, m := 600, 0
	if l.anyOrder() {
		n, m = 90, 90
	}
	var out []place
	for i := range n + 1 {
		s := float64(i) / float64(n)
		for j := range m + 1 {
			two := s
			if m > 0 {
				two = float64(j) / float64(m)
			}
			out = append(out, place{leg: leg, one: min(s, 1-1e-12), two: two})
		}
	}
	return out
}
