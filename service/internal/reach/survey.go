package reach

import (
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// SurveyOf is what a survey asks for.
type SurveyOf struct {
	About  rig.Axes   // where the rig stands: limits are about it
	Spread rig.Axes   // what is to be kept free within every limit: uncertainty and overrun
	Travel rig.Travel // as it is now
	Band   unit.Angle // width of the bands of axis 2
	Budget Budget     // of the map
	// NoRegions leaves Reached and Apart out.
	NoRegions bool
}

// Survey is what a rig's axes may do, as proven of all axis space.
type Survey struct {
	SurveyOf
	Raster *Raster
	Clear  bool            // About is clear, with its spread; else the limits are empty
	Widest [2]Extent       // of axis 1 and axis 2: the largest rectangle that is clear all over
	Binds  [2][2]*Approach // what bounds it: of each axis at its low end and at its high one; nil where nothing does
	Across Band            // how far axis 1 may go over all of the travel of axis 2
	Bands  []Band          // and within each band of it
	// Reached is the share of the travel that can be reached from About without uncertainty; Apart are parts of it that are as clear and
	// cannot be.
	Reached float64
	Apart   []Region
	Here    Result // at About
	All     Result // over all of the travel
}

// Survey works out the map of a prover and what follows from it; nil where going says to stop.
func (p *Prover) Survey(m *Map, of SurveyOf, going func(done, of int) bool) *Survey {
	r := m.Raster(of.Budget, going)
	if r == nil {
		return nil
	}
	return p.SurveyOn(r, of, func() bool { return going(rootCells*rootCells, rootCells*rootCells) })
}

// SurveyOn is Survey with a map of the prover that is worked out already.
func (p *Prover) SurveyOn(r *Raster, of SurveyOf, going func() bool) *Survey {
	s := &Survey{SurveyOf: of, Raster: r, Here: p.Least(of.About), All: p.Prove(Rectangle(of.Travel.Low, of.Travel.High, rig.Motion{}), rig.Axes{}, DefaultBudget)}
	s.Widest[0], s.Widest[1], s.Clear = r.Widest(of.About, of.Spread)
	if !of.NoRegions {
		var ok bool
		if s.Reached, s.Apart, ok = r.Regions(of.Travel, of.About, going); !ok {
			return nil
		}
	}
	s.Across = r.band(of.About.A1, of.Travel.Low.A2, of.Travel.High.A2, of.Spread)
	s.Bands = r.Bands(of.About.A1, of.Travel.Low.A2, of.Travel.High.A2, of.Band, of.Spread)
	if !s.Clear {
		return s
	}
	for axis := range 2 {
		for n, dir := range []int{-1, 1} {
			if !s.Widest[axis].Free {
				s.Binds[axis][n] = r.Binds(s.Widest[0], s.Widest[1], axis, dir, of.Spread)
			}
		}
	}
	return s
}

// Proven tells whether every rectangle that a survey calls clear is proven so by the map now. That of a raster that was worked out is; one that was
// read says what it says.
func (s *Survey) Proven() bool {
	if s.Clear && !s.proven(s.Widest[0], s.Widest[1]) {
		return false
	}
	for _, b := range append([]Band{s.Across}, s.Bands...) {
		if b.Clear && !s.proven(b.Axis1, b.Axis2) {
			return false
		}
	}
	return true
}

// proven tells whether a rectangle is, with what lies within the spread of it.
func (s *Survey) proven(axis1, axis2 Extent) bool {
	low, high := rig.Axes{A1: axis1.Low, A2: axis2.Low}.Sub(s.Spread), rig.Axes{A1: axis1.High, A2: axis2.High}.Add(s.Spread)
	return s.Raster.m.Standing(low, high, RasterBudget) == Clear
}
