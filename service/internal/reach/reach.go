package reach

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Budget is how many cells of axis space one question may look at. The outcome of a question depends on it and on nothing of the
// machine, so that a replay gives the same. The first look at each leg (one cell for each of three classes of pairs) is always taken.
type Budget int

// DefaultBudget settles ordinary questions many times over. Choice: of random motions that sampling finds clear by 5 mm, fewer than
// 1 in 200 need more (see the property test); it bounds the time of one question to some tens of milliseconds.
const DefaultBudget Budget = 20_000

// Result is what is proven and seen of the spare over every pose of a way and its spread.
//
// Invariant: Lower ≤ the least spare ≤ Upper, neither NaN. Decided only if Lower ≥ 0 or Upper < 0.
type Result struct {
	Lower   unit.Length // proven; -Inf where nothing is, +Inf where the scene has no pairs
	Upper   unit.Length // seen at Nearest; +Inf where nothing was looked at exactly
	Decided bool        // false: not settled within the budget, or the question makes no sense (Why)
	Why     string      // of an undecided result, one phrase
	Nearest *Approach   // where the spare is least, as far as seen; nil where nothing was looked at exactly
	Contact *Approach   // of a way seen to touch: the first contact seen, to the resolution of Until
	Cells   int         // cells looked at
}

// Passes tells whether every pose is proven to keep what its pairs require.
func (r Result) Passes() bool { return r.Decided && r.Lower >= 0 }

// Fails tells whether a pose of the set was seen that does not keep what a pair requires.
func (r Result) Fails() bool { return r.Decided && r.Upper < 0 }

// Approach is one pair of bodies at one pose.
type Approach struct {
	Parts    [2]string   // names; the first part's link is the lower
	Pair     int         // index into the scene's pairs
	Pose     rig.Axes    // of the swept set, spread included
	Turned   rig.Axes    // how far the axes have then turned from the start of the way, signed, without the spread
	Seconds  float64     // when, from the start of the way; within a rectangle the earliest
	Lower    unit.Length // the gap there, proven
	Upper    unit.Length // the gap there at most
	Required unit.Length // of the pair
}

// Until is how long a motion keeps something.
//
// Invariant: at every pose reached before Clear it is proven kept; Clear ≤ Broken.
type Until struct {
	Clear   float64   // seconds; the whole way's where Whole
	Whole   bool      // kept all along the way
	Broken  float64   // seconds at which a pose was seen that breaks it; +Inf where none was
	Seen    *Approach // that pose
	Decided bool      // Whole, or Broken - Clear is within the resolution, or at Clear not 0.11 mm may be left; else the budget ran out or the question makes no sense
	Why     string    // of an undecided one
	Cells   int
}

// Prove bounds the spare over a way. A set that fails is pursued until the least spare is known as well as that of one that
// passes, but no further than to a contact.
func (p *Prover) Prove(way Way, spread rig.Axes, budget Budget) Result {
	s := p.search(way, spread, budget)
	defer s.release()
	if s.why == "" {
		s.closest(tight)
	}
	r := s.result()
	if r.Fails() && r.Nearest.Upper <= 0 {
		touch := p.Touches(way, spread, budget)
		r.Contact, r.Cells = touch.Seen, r.Cells+touch.Cells
	}
	return r
}

// Passes is Prove(…).Passes() at less cost: it stops as soon as the answer is settled. What is known beforehand is not looked up: a search
// for a way round asks about all of the axis space, most of it once, and would have all of it worked out.
func (p *Prover) Passes(way Way, spread rig.Axes, budget Budget) (passes bool, cells int) {
	s := p.search(way, spread, budget)
	defer s.release()
	s.plain = true
	if s.why == "" {
		s.closest(verdict)
	}
	r := s.result()
	return r.Passes(), r.Cells
}

// Keeps tells how long a motion keeps what the pairs require and extra beside it: the margin that a normal departure needs counts
// in tracking deadlines.
func (p *Prover) Keeps(way Way, spread rig.Axes, extra unit.Length, budget Budget) Until {
	return p.KeepsAfter(way, spread, extra, 0, budget)
}

// KeepsAfter is Keeps of a motion that was proven to do so until an instant, from seconds after its start: as with a wider spread. Nothing is
// looked at before that.
func (p *Prover) KeepsAfter(way Way, spread rig.Axes, extra unit.Length, from float64, budget Budget) Until {
	s := p.search(way, spread, budget)
	defer s.release()
	s.goal(1, float64(extra))
	s.keptUntil(from)
	return s.until()
}

// KeepsRoughly is Keeps without extra at less cost: Clear is as safe, and earlier by a two-hundredth of itself or by what a millimetre takes.
func (p *Prover) KeepsRoughly(way Way, spread rig.Axes, budget Budget) Until {
	s := p.search(way, spread, budget)
	defer s.release()
	s.rough = true
	return s.until()
}

// Touches tells how long a motion goes without contact, whatever the pairs require.
func (p *Prover) Touches(way Way, spread rig.Axes, budget Budget) Until {
	return p.TouchesAfter(way, spread, 0, budget)
}

// TouchesAfter is Touches of a motion that was proven to keep what the pairs require until an instant, from seconds after its start. Where that is less
// than nothing all of it is looked at.
func (p *Prover) TouchesAfter(way Way, spread rig.Axes, from float64, budget Budget) Until {
	s := p.search(way, spread, budget)
	defer s.release()
	s.goal(0, 0)
	if slices.Min(p.leastRequired[:]) >= 0 { // of a class without pairs it is 0
		s.keptUntil(from)
	}
	return s.until()
}

// keptUntil sets up to when a motion is proven; what is no instant proves nothing.
func (s *search) keptUntil(from float64) {
	if s.from = from; math.IsInf(from, 0) || math.IsNaN(from) {
		s.from = 0
	}
}

func (s *search) until() Until {
	u := Until{Broken: math.Inf(1)}
	if s.why == "" {
		u = s.first()
	}
	u.Why, u.Cells = s.why, s.cells
	return u
}
