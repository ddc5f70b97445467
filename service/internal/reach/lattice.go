package reach

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// place is a pose of the lattice by its numbers.
type place [2]int32

// trail is how a place was reached.
type trail struct {
	before place
	cost   float64
	done   bool
}

// over searches the lattice with a step and returns the stops of a way; nil where there is none.
func (w *walk) over(step unit.Angle) []rig.Axes {
	reached := map[place]trail{}
	var front frontier
	pose := func(at place) rig.Axes { return rig.Axes{A1: unit.Angle(at[0]) * step, A2: unit.Angle(at[1]) * step} }
	offer := func(at, before place, cost float64) {
		if was, seen := reached[at]; seen && was.cost <= cost {
			return
		}
		reached[at] = trail{before: before, cost: cost}
		heap.Push(&front, ahead{at, cost, cost + w.least(pose(at), w.to)})
	}
	for _, at := range w.about(w.from, step) {
		offer(at, at, w.least(w.from, pose(at)))
	}
	ends := w.about(w.to, step)
	if len(ends) == 0 {
		return nil
	}
	for front.Len() > 0 && !w.spent() {
		top, _ := heap.Pop(&front).(ahead)
		t := reached[top.at]
		if t.done || top.cost > t.cost {
			continue
		}
		t.done = true
		reached[top.at] = t
		if slices.Contains(ends, top.at) {
			return w.stops(w.back(reached, top.at, pose))
		}
		here := pose(top.at)
		for _, d := range around {
			next := place{top.at[0] + d[0], top.at[1] + d[1]}
			w.steps++
			if to := pose(next); w.travel.Holds(to) && !reached[next].done && w.isOpen(to) && w.free(here, to) {
				offer(next, top.at, t.cost+w.least(here, to))
			}
		}
	}
	return nil
}

var around = []place{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}}

// about returns the places next to a pose that can be reached from it, in whatever order the axes move. A pose near contact lies in a cell that the
// map does not know to be clear: then that is proven by itself.
func (w *walk) about(a rig.Axes, step unit.Angle) (out []place) {
	i, j := int32(math.Floor(float64(a.A1/step))), int32(math.Floor(float64(a.A2/step)))
	for _, at := range []place{{i, j}, {i, j + 1}, {i + 1, j}, {i + 1, j + 1}} {
		to := rig.Axes{A1: unit.Angle(at[0]) * step, A2: unit.Angle(at[1]) * step}
		if w.travel.Holds(to) && w.isOpen(to) && (w.free(a, to) || w.proves(Rectangle(a, to, rig.Motion{}))) {
			out = append(out, at)
		}
	}
	return out
}

// back returns poses of a way from its start to its end: those between which the legs are clear, as far apart as such lie along it, and
// mostStops others at most.
func (w *walk) back(reached map[place]trail, at place, pose func(place) rig.Axes) []rig.Axes {
	var poses []rig.Axes
	for {
		poses = append(poses, pose(at))
		before := reached[at].before
		if before == at {
			break
		}
		at = before
	}
	slices.Reverse(poses)
	last, turn := len(poses)-1, 0
	every := (len(poses) + mostStops - 1) / mostStops
	out := []rig.Axes{w.from}
	for i, p := range poses {
		if i > turn+1 && !w.sweeps(poses[turn], p) {
			turn = i - 1
			if out[len(out)-1] != poses[turn] {
				out = append(out, poses[turn])
			}
		}
		if i%every == 0 || i == last {
			out = append(out, p)
		}
	}
	return append(out, w.to)
}

// ahead is a place at the front of a search.
type ahead struct {
	at         place
	cost, rank float64
}

// frontier is a heap of them, least rank first, equal ones by place: what is found depends on nothing else.
type frontier []ahead

func (f frontier) Len() int { return len(f) }

func (f frontier) Less(i, j int) bool {
	a, b := &f[i], &f[j]
	if n := cmp.Compare(a.rank, b.rank); n != 0 {
		return n < 0
	}
	return slices.Compare(a.at[:], b.at[:]) < 0
}

func (f frontier) Swap(i, j int) { f[i], f[j] = f[j], f[i] }

// Push is heap's.
func (f *frontier) Push(x any) {
	a, _ := x.(ahead)
	*f = append(*f, a)
}

// Pop is heap's.
func (f *frontier) Pop() any {
	last := len(*f) - 1
	out := (*f)[last]
	*f = (*f)[:last]
	return out
}
