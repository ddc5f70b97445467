package nights

import (
	"context"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// exposure is how long every picture is exposed.
const exposure = 5 * time.Second

// solve takes a picture and solves it: truly, or as the words say. Two samples bound the exposure, as a good program sends them.
func (n *night) solve(a *arguments) (*question.Solve, error) {
	if err := n.send(decide.Report{}); err != nil {
		return nil, err
	}
	n.to(n.Now().Add(time.Second))
	start := n.Now()
	n.to(start.Add(exposure + 2*time.Second))
	v := n.camera.Picture(start, exposure)
	for len(a.words) > 0 && a.words[0] != "unmoved" && a.words[0] != "cut" {
		if w := a.next(); !n.otherSolve(&v, w, start, a) && !n.otherFigure(&v, w, a) {
			a.fail("%q says nothing of a solve", w)
		}
	}
	n.solved = v
	v.Start = v.Start.Add(n.skew)
	return &v, a.err
}

// otherSolve makes a solve say something else of the sky, or of itself.
func (n *night) otherSolve(v *question.Solve, w string, start time.Time, a *arguments) bool {
	switch w {
	case "false": // off by a turn of the axes
		*v = n.camera.False(start, exposure, rig.DegAxes(a.number(), a.number()), 60)
	case "at": // another place of the sky, whatever the camera sees
		*v = n.camera.Anywhere(start, exposure, unit.Deg(a.number()), unit.Deg(a.number()), 60)
	case "in-hours": // its right ascension in hours where degrees belong
		v.Sky.RA = unit.Deg(v.Sky.RA.Deg() / 15)
	case "of-date": // coordinates of the catalogue, called those of date
		v.Sky.Frame = question.OfDate
	case "again": // the picture judged last
		v.Picture = n.last().Picture
	case "old": // the solve told last, as it was then
		*v = n.solved
	case "yesterday": // the same picture as now, taken a day ago
		*v = n.camera.Picture(start.Add(-24*time.Hour), exposure)
	case "taken": // by a clock that is off
		v.Start = v.Start.Add(a.duration())
	default:
		return false
	}
	return true
}

// otherFigure changes a figure of the solver.
func (n *night) otherFigure(v *question.Solve, w string, a *arguments) bool {
	switch w {
	case "stars":
		k := int(a.number())
		v.Matched = &k
	case "hint": // around where the mount believes that it points
		r := unit.Deg(a.number())
		ra, dec, _ := n.mount.Belief(n.Now())
		v.Radius, v.Hint = &r, &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}
	case "no-residual":
		v.Residual = nil
	case "mirrored":
		yes := true
		v.Mirrored = &yes
	case "scale":
		p := *v.Pixel * unit.Angle(a.number())
		v.Pixel = &p
	case "turned":
		t := *v.Rotation + unit.Deg(a.number())
		v.Rotation = &t
	default:
		return false
	}
	return true
}

// last is the solve judged last.
func (n *night) last() question.JudgedSolve {
	v, err := n.d.Look(context.Background(), n.rig.ID)
	if err != nil || len(v.State.Solves) == 0 {
		return question.JudgedSolve{}
	}
	return v.State.Solves[len(v.State.Solves)-1]
}

// ofDate turns catalogue coordinates into those that a mount goes by.
func (n *night) ofDate(s question.Sky) (ra, dec unit.Angle) {
	if s.Frame == question.OfDate {
		return s.RA, s.Dec
	}
	m, err := moment(n.Now())
	if err != nil {
		return 0, 0
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}
