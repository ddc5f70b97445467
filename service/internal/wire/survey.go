package wire

import (
	"math"
	"strings"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Changes reads a what-if: what it changes together, in order.
func Changes(m *pb.WhatIf) []rig.Change {
	out := []rig.Change{{Key: m.GetKey(), By: m.GetAdded(), Value: m.GetValue()}}
	for _, c := range m.GetAlso() {
		out = append(out, rig.Change{Key: c.GetKey(), By: c.GetAdded(), Value: c.GetValue()})
	}
	return out
}

// Parts reads states of parts.
func Parts(all []*pb.PartState) (out []rig.PartState) {
	for _, p := range all {
		out = append(out, readPart(p))
	}
	return out
}

// Gap reads a gap to be kept between all parts; nil: none was named.
func Gap(mm *float64) *unit.Length {
	if mm == nil {
		return nil
	}
	gap := unit.Length(*mm)
	return &gap
}

// Axes reads a pose; nil: none was named.
func Axes(m *pb.AxisPair) *rig.Axes {
	if m == nil {
		return nil
	}
	a := rig.DegAxes(m.GetAxis1Deg(), m.GetAxis2Deg())
	return &a
}

// AxisPair writes a pose.
func AxisPair(a rig.Axes) *pb.AxisPair { return pair(a) }

// Lines are those of a text: clients take what breaks a line within a field for a fault.
func Lines(text string) []string { return strings.Split(strings.TrimRight(text, "\n"), "\n") }

// Survey turns what was found of a rig's room to move into its message; whatIf is 0, or of which what-if it is, from 1.
func Survey(r *rig.Rig, s *reach.Survey, a draw.Asked, whatIf int) *pb.RigSurvey {
	out := &pb.RigSurvey{
		WhatIf: uint32(whatIf), RigSha256: r.Digest[:], About: pair(s.About), Spread: pair(s.Spread), Clear: s.Clear,
		Across: roomBand(s.Across), Here: closePair(s.Here.Nearest), Least: closePair(s.All.Nearest),
		ReachedRatio: &s.Reached, Spent: s.Raster.Spent, Lines: Lines(draw.Room(r, s, a)),
	}
	if s.Clear {
		out.Axis1, out.Axis2 = axisRoom(s.Widest[0], s.Binds[0]), axisRoom(s.Widest[1], s.Binds[1])
	}
	for _, b := range s.Bands {
		out.Bands = append(out.Bands, roomBand(b))
	}
	for _, p := range s.Apart {
		out.Apart = append(out.Apart, &pb.RoomApart{Axes: pair(p.Pose), ShareRatio: &p.Share})
	}
	return out
}

func axisRoom(e reach.Extent, binds [2]*reach.Approach) *pb.AxisRoom {
	low, high := extent(e)
	return &pb.AxisRoom{LowDeg: low, HighDeg: high, BeyondLow: closePair(binds[0]), BeyondHigh: closePair(binds[1])}
}

// extent gives the ends of an interval; nil where it goes all round.
func extent(e reach.Extent) (low, high *float64) {
	if e.Free {
		return nil, nil
	}
	return toDegrees(&e.Low), toDegrees(&e.High)
}

func roomBand(b reach.Band) *pb.RoomBand {
	out := &pb.RoomBand{Axis2LowDeg: toDegrees(&b.Axis2.Low), Axis2HighDeg: toDegrees(&b.Axis2.High), Clear: b.Clear}
	if b.Clear {
		out.Axis1LowDeg, out.Axis1HighDeg = extent(b.Axis1)
	}
	return out
}

func closePair(a *reach.Approach) *pb.ClosePair {
	if a == nil {
		return nil
	}
	out := &pb.ClosePair{Part: a.Parts[0], OtherPart: a.Parts[1], Axes: pair(a.Pose), RequiredMm: finiteOrNil(float64(a.Required)), Touching: a.Upper <= 0}
	if gap := max(0, float64(a.Lower)); !math.IsInf(float64(a.Lower), 0) { // else nothing is proven of it
		out.GapMm = finiteOrNil(gap)
	}
	return out
}

// Nearest turns the nearest parts of a view into their message; nil where there are none.
func Nearest(v *draw.View) *pb.ClosePair { return closePair(v.Nearest()) }
