package gauge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Measured is one gap as a person measured it.
type Measured struct {
	Place
	MM  float64
	Err float64 // within ±Err; 0: as common
}

// Residual is one measured gap beside the file's.
type Residual struct {
	Place
	Computed float64 // by the file, mm
	MM       float64 // measured less computed
	May      float64 // by how much it may differ with every length and the tape within their reading errors
}

// Suspect is a length that by itself explains the gaps.
type Suspect struct {
	Length
	More float64 // by how much more it would be
	Left float64 // the largest residual that would be left, mm
}

// Judgement is what measured gaps say of a file.
type Judgement struct {
	Residuals []Residual
	Worst     float64 // the largest residual, mm: the model's uncertainty
	Fits      bool    // reading errors explain all of it
	// Suspects explain what reading errors do not, each alone: the best first, and those that explain it as well. Empty where the file fits, or where
	// none does.
	Suspects []Suspect
	Helps    *Suspect // where none explains it: the one that leaves least
	Untried  int      // lengths for which the work did not suffice
	Says     string   // all of that in sentences
}

// Judge holds measured gaps against the file. A place that the rig does not have, a gap of parts that touch among them, is an error. Where going
// is false, which is asked between lengths and gaps, it ends with ErrStopped.
func (s *Subject) Judge(all []Measured, going func() bool) (Judgement, error) {
	return s.judgeWithin(all, going, work{mostReadings, mostDistances})
}

func (s *Subject) judgeWithin(all []Measured, going func() bool, may work) (Judgement, error) {
	out := Judgement{}
	if len(all) == 0 {
		out.Says = "Nothing was measured, so nothing is known of how well the file fits."
		return out, nil
	}
	e := &explanation{s: s, going: going, may: may}
	v, ok := s.variants(going)
	for _, m := range all {
		if !ok || !going() {
			return Judgement{}, ErrStopped
		}
		k, ok := s.spotOf(m.Place)
		if !ok {
			return out, fmt.Errorf("there is no gap to measure between %q and %q: name two parts of the rig that turn with different axes", m.Parts[0], m.Parts[1])
		}
		is, slope := v.is.at(k.at).gap(k), make([]float64, len(s.Lengths))
		if e.affords(0, len(s.Lengths)*s.work(k)) {
			slope = v.slopes(k.at, []spot{k})[0]
		}
		e.spots, e.is, e.r, e.slopes = append(e.spots, k), append(e.is, is), append(e.r, m.MM-is), append(e.slopes, slope)
		out.Residuals = append(out.Residuals, Residual{Place: m.Place, Computed: is, MM: m.MM - is, May: s.may(m.err(), slope)})
	}
	out.Worst = worst(e.r)
	e.weigh(all)
	out.Fits = e.left(e.r) <= tail(len(e.r)) && !e.pointed()
	if !out.Fits && !e.accuse(&out) {
		return Judgement{}, ErrStopped
	}
	out.Says = out.sentences()
	return out, nil
}

func (m *Measured) err() float64 {
	if m.Err > 0 {
		return m.Err
	}
	return readError
}

// may is by how much a gap may be misjudged by reading errors, all of them to the same side.
func (s *Subject) may(read float64, slope []float64) float64 {
	for j, v := range slope {
		read += math.Abs(v) * s.Lengths[j].Err
	}
	return read
}

// tails are the sums of squares, in sigmas, that so many readings exceed once in a hundred times: the 99 % point of χ² with 1, 2 … degrees of
// freedom. Source: scipy 1.10, stats.chi2.ppf(0.99, n), as in Abramowitz and Stegun, table 26.8.
var tails = []float64{6.635, 9.210, 11.345, 13.277, 15.086, 16.812, 18.475, 20.090, 21.666, 23.209, 24.725, 26.217, 27.688, 29.141, 30.578, 32.000, 33.409, 34.805, 36.191, 37.566}

// tail is that of n readings; beyond the table by Wilson and Hilferty's approximation (1931).
func tail(n int) float64 {
	switch {
	case n < 1:
		return 0
	case n <= len(tails):
		return tails[n-1]
	}
	k := 2 / (9 * float64(n))
	return float64(n) * math.Pow(1-k+2.326*math.Sqrt(k), 3)
}

// explanation is one search for the length that explains residuals.
type explanation struct {
	s       *Subject
	going   func() bool
	spots   []spot
	is      []float64 // the gaps by the file as it is
	r       []float64
	slopes  [][]float64
	inverse [][]float64 // of the residuals' covariance by reading errors
	may     work        // what it may do yet
	spent   bool        // it would have taken more
}

// weigh works out the residuals' covariance by the reading errors of the tape and of the file's lengths.
func (e *explanation) weigh(all []Measured) {
	cov := make([][]float64, len(e.r))
	for i := range cov {
		cov[i] = make([]float64, len(e.r))
		cov[i][i] = variance(all[i].err())
		for k := range cov {
			for j := range e.s.Lengths {
				cov[i][k] += e.slopes[i][j] * e.slopes[k][j] * variance(e.s.Lengths[j].Err)
			}
		}
	}
	e.inverse = inverse(cov)
}

// left is the sum of squares of residuals, in sigmas.
func (e *explanation) left(r []float64) float64 {
	sum := 0.0
	for i := range r {
		sum += r[i] * dot(e.inverse[i], r)
	}
	return sum
}

// oneOf is by how much less of the sum of squares, in sigmas, one length of so many has to leave to be told from chance although reading errors might
// explain all of it: of a file that is right one of them leaves so much less once in a hundred times at most (Bonferroni). It is the point of χ² with one
// degree of freedom, the square of a normal deviate, that is exceeded with the chance 0.01/n.
func oneOf(n int) float64 {
	z := math.Erfcinv(0.01 / float64(max(n, 1))) // a deviate is as far off, to either side, with the chance erfc(z/√2)
	return 2 * z * z
}

// pointed tells whether the residuals point at a length: many good gaps would otherwise hide two that are out by the same thing. Lengths that change no gap
// are none of those among which chance has its pick.
func (e *explanation) pointed() bool {
	most, tried := 0.0, 0
	for j := range e.s.Lengths {
		slope := e.column(j)
		by, known := e.newton(slope, e.r)
		if !known {
			continue
		}
		tried++
		r := slices.Clone(e.r)
		for i := range r {
			r[i] -= by * slope[i]
		}
		most = max(most, e.left(e.r)-e.left(r))
	}
	return most > oneOf(tried)
}

// tried is a length with the change that explains most.
type tried struct {
	Suspect
	left float64
}

// accuse finds the lengths that explain the residuals, each alone, looking first at those that seem to explain most; false where it was stopped.
func (e *explanation) accuse(out *Judgement) bool {
	found, order := make([]*tried, len(e.s.Lengths)), e.likely()
	for i, j := range order {
		if !e.going() {
			return false
		}
		if t, ok := e.try(j); ok {
			found[j] = &t
		}
		if e.spent {
			out.Untried = len(order) - i
			break
		}
	}
	var all []tried
	for _, t := range found {
		if t != nil {
			all = append(all, *t)
		}
	}
	if len(all) == 0 {
		return true
	}
	slices.SortStableFunc(all, func(a, b tried) int { return cmp.Compare(a.left, b.left) })
	enough := tail(max(len(e.r)-1, 1))
	if all[0].left > enough {
		out.Helps = &all[0].Suspect
		return true
	}
	for _, t := range all {
		if t.left <= enough && t.left-all[0].left <= tail(1) {
			out.Suspects = append(out.Suspects, t.Suspect)
		}
	}
	return true
}

// tries is how often a change is made better. Choice: a length that changes which sides are nearest takes three or four.
const tries = 6

// try finds by how much one length would have to be another to explain most, by Newton's method in the one unknown: the gaps are worked out anew
// with each change, since far from the file a slope is another.
func (e *explanation) try(j int) (tried, bool) {
	l, step := &e.s.Lengths[j], trials[e.s.Lengths[j].Unit]
	best := tried{left: math.Inf(1)}
	more, slope, r := 0.0, e.column(j), e.r
	for range tries {
		by, known := e.newton(slope, r)
		now, ok := e.with(l, more+by)
		for half := 0; !ok && half < 3; half++ { // the file does not load with so much
			by /= 2
			now, ok = e.with(l, more+by)
		}
		if !known || !ok {
			break
		}
		more, r = more+by, now
		if left := e.left(r); left < best.left {
			best = tried{Suspect{*l, more, worst(r)}, left}
		}
		next, ok := e.with(l, more+step)
		if !ok || math.Abs(by) < step/20 {
			break
		}
		slope = make([]float64, len(r))
		for i := range slope {
			slope[i] = (r[i] - next[i]) / step
		}
	}
	return best, !math.IsInf(best.left, 1)
}

// newton is by how much a length would have to be another to explain most of the residuals, if its slopes were the same everywhere; false where
// it does nothing to them.
func (e *explanation) newton(slope, r []float64) (by float64, known bool) {
	grade, along := 0.0, 0.0
	for i := range slope {
		grade += slope[i] * dot(e.inverse[i], slope)
		along += slope[i] * dot(e.inverse[i], r)
	}
	if grade < 1e-9 {
		return 0, false
	}
	return along / grade, true
}

func (e *explanation) column(j int) []float64 {
	var out []float64
	for i := range e.slopes {
		out = append(out, e.slopes[i][j])
	}
	return out
}

// likely are the lengths, first those that would leave least if slopes were the same everywhere.
func (e *explanation) likely() []int {
	order, left := make([]int, len(e.s.Lengths)), make([]float64, len(e.s.Lengths))
	for j := range order {
		order[j], left[j] = j, math.Inf(1)
		slope := e.column(j)
		if by, known := e.newton(slope, e.r); known {
			r := slices.Clone(e.r)
			for i := range r {
				r[i] -= by * slope[i]
			}
			left[j] = e.left(r)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(left[a], left[b]) })
	return order
}

// with are the residuals that would be left with a length so much more; false where the file does not load then.
func (e *explanation) with(l *Length, more float64) ([]float64, bool) {
	distances := 0
	for _, k := range e.spots {
		distances += e.s.work(k)
	}
	if !e.affords(1, distances) {
		return nil, false
	}
	v := e.s.read(l.with(more))
	if v == nil {
		return nil, false
	}
	out := slices.Clone(e.r)
	for i, k := range e.spots {
		out[i] -= v.at(k.at).gap(k) - e.is[i]
	}
	return out, true
}

func worst(r []float64) float64 {
	most := 0.0
	for _, v := range r {
		most = max(most, math.Abs(v))
	}
	return most
}

// inverse inverts a symmetric matrix, all of whose eigenvalues are those of reading errors and so above nothing (Gauss and Jordan).
func inverse(m [][]float64) [][]float64 {
	n := len(m)
	a := make([][]float64, n)
	for i := range m {
		a[i] = append(slices.Clone(m[i]), make([]float64, n)...)
		a[i][n+i] = 1
	}
	for i := range a {
		by := a[i][i]
		for k := range a[i] {
			a[i][k] /= by
		}
		for j := range a {
			if f := a[j][i]; j != i {
				for k := range a[j] {
					a[j][k] -= f * a[i][k]
				}
			}
		}
	}
	for i := range a {
		a[i] = a[i][n:]
	}
	return a
}

// String says of a suspect what it would be.
func (x *Suspect) String() string {
	unit := " " + x.Unit
	if x.Unit == "deg" {
		unit = "°"
	}
	decimals := map[string]int{"mm": 0, "deg": 1}[x.Unit]
	return fmt.Sprintf("%s: %.*f instead of %.*f%s", x.Name, decimals, x.Is+x.More, decimals, x.Is, unit)
}

func (j *Judgement) sentences() string {
	head := fmt.Sprintf("The largest difference is %.1f mm.", j.Worst)
	if j.Untried > 0 {
		head += fmt.Sprintf(" The file has so many shapes and lengths that %d of its lengths were not tried.", j.Untried)
	}
	switch {
	case j.Fits:
		return head + " Reading errors explain all of it: no length looks wrong."
	case len(j.Suspects) == 1:
		return head + fmt.Sprintf(" Most likely wrong is %s; %.1f mm would be left. Measure it again.", j.Suspects[0].String(), j.Suspects[0].Left)
	case len(j.Suspects) > 1:
		var all []string
		for i := range j.Suspects {
			all = append(all, j.Suspects[i].String())
		}
		return head + " Wrong is most likely one of these, which explain it as well as each other: " + strings.Join(all, "; ") + ". Measure each again."
	case j.Helps != nil:
		return head + fmt.Sprintf(" No single length explains it. Nearest comes %s, with %.1f mm left: measure the gaps again, then the lengths.", j.Helps.String(), j.Helps.Left)
	}
	return head + " No length of this file explains any of it: measure the gaps again."
}
