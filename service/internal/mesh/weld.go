package mesh

import (
	"math"
	"math/bits"
)

// table finds a corner among those that are there: open addressing over their numbers, so that a million facets take some 8 MB
// besides the corners themselves.
type table struct {
	slots []int32 // number of a corner + 1; 0: empty. Its length is a power of two.
	used  int
}

// put returns the number of a corner among all, which it appends if it is new.
func (t *table) put(all []Corner, c Corner) (int32, []Corner) {
	if 2*t.used >= len(t.slots) {
		t.grow(all)
	}
	at := t.slot(all, c)
	if t.slots[at] == 0 {
		all = append(all, c)
		t.slots[at] = int32(len(all))
		t.used++
	}
	return t.slots[at] - 1, all
}

// slot returns where a corner is, or would be put.
func (t *table) slot(all []Corner, c Corner) uint64 {
	mask := uint64(len(t.slots) - 1)
	at := hash(c) & mask
	for t.slots[at] != 0 && all[t.slots[at]-1] != c {
		at = (at + 1) & mask
	}
	return at
}

func (t *table) grow(all []Corner) {
	t.slots = make([]int32, max(1024, 2*len(t.slots)))
	for i, c := range all {
		t.slots[t.slot(all, c)] = int32(i + 1)
	}
}

// hash mixes the bits of a corner.
func hash(c Corner) uint64 {
	h := mixed(math.Float64bits(c.X))
	h = mixed(h ^ bits.RotateLeft64(math.Float64bits(c.Y), 21))
	return mixed(h ^ bits.RotateLeft64(math.Float64bits(c.Z), 42))
}

// mixed is the finisher of SplitMix64. Source: Steele, Lea & Flood, OOPSLA 2014, figure 16, with the constants of its mix64variant13.
func mixed(h uint64) uint64 {
	h += 0x9e3779b97f4a7c15
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}
