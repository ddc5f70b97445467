package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
)

// barredDepth is how far the map is cut to tell that there is no way at all: cells of 1°.
const (
	barredDepth = mapDepth - 2
	barredSide  = 1 << (mapDepth - barredDepth)
)

// mostFlooded bounds the cells of 1° that are looked through from either end. Choice: all of an ordinary travel.
const mostFlooded = 200_000

// barred tells whether it is proven that no way leads from the start to the end within travel: what is not barred about one of them is closed
// in, and the other is not in it. Cells that meet at a corner count as joined, and what is not known as open. Where the work runs out nothing is proven.
func (w *walk) barred() bool {
	v := w.v.m.visit(w.budget - Budget(w.cells()))
	v.depth = barredDepth
	defer func() { w.proven += v.cells }()
	travel := finesOf(rect{w.travel.Low, w.travel.High})
	ends := [2]*flood{newFlood(v, travel, w.from), newFlood(v, travel, w.to)}
	for !v.spent() && len(ends[0].list)+len(ends[1].list) < mostFlooded {
		for n, f := range ends {
			grown := f.grow()
			if f.seen[ends[1-n].start] {
				return false
			}
			if !grown {
				return true
			}
		}
	}
	return false
}

// flood is what may be reached from a pose through cells that are not barred, so far.
type flood struct {
	v      *visit
	travel fineBox
	start  place
	seen   map[place]bool
	list   []place // those seen, of which the first ones are done
	done   int
}

func newFlood(v *visit, travel fineBox, from rig.Axes) *flood {
	b := finesOf(rect{from, from}).low
	f := &flood{v: v, travel: travel, start: place{floorDiv(b[0], barredSide), floorDiv(b[1], barredSide)}, seen: map[place]bool{}}
	f.reach(f.start)
	return f
}

// reach adds a cell that is within travel and not barred.
func (f *flood) reach(at place) {
	b := fineBox{low: [2]int{int(at[0]) * barredSide, int(at[1]) * barredSide}}
	b.high = [2]int{b.low[0] + barredSide - 1, b.low[1] + barredSide - 1}
	t := &f.travel
	outside := b.high[0] < t.low[0] || b.low[0] > t.high[0] || b.high[1] < t.low[1] || b.low[1] > t.high[1]
	if outside || f.seen[at] || f.v.over(b) == Barred {
		return
	}
	f.seen[at] = true
	f.list = append(f.list, at)
}

// grow goes on from the next cell; false where there is none.
func (f *flood) grow() bool {
	if f.done == len(f.list) {
		return false
	}
	at := f.list[f.done]
	f.done++
	for _, d := range around {
		f.reach(place{at[0] + d[0], at[1] + d[1]})
	}
	return true
}

func floorDiv(a, b int) int32 { return int32(math.Floor(float64(a) / float64(b))) }
