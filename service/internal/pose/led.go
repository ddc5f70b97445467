package pose

import (
	"maps"
	"math"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Solves that went off step by step, and lie there still after somebody set axis 1 anew: what led them was not the axis. An act opens the pointing by
// about as much as solves are led by, so that the next of them would pass as a first. A kick is one step, and what it did is undone by the alignment, or
// is no tilt; a base that sinks is set right again.
const (
	// ledStep is the most that two good solves, one after the other, may lie apart for the second to have been led on from the first. Choice: three
	// times as far as two solves agree.
	ledStep = 30 * unit.Arcminute
	// ledFar is how far off solves must have been led for it to matter, and how near there a later one lies that is led still. Choice: as `away` by cameBack.
	ledFar = 37 * unit.Arcminute
)

// Led is how far off what is expected a solve lies, where solves had been led to before somebody set axis 1 anew; zero where it lies elsewhere.
func Led(r *rig.Rig, s question.RigState, j question.JudgedSolve) unit.Angle {
	l, ok := s.Led[j.Optics]
	if !ok || !l.Mended {
		return 0
	}
	m := PointingModel(r, s, j.Optics)
	is := onSky(r, &m, j.Pose, j.Solved)
	if off := lengthOf(is); farBetween(is, onSky(r, &m, l.Pose, l.Solved)) < min(ledFar, off) {
		return off
	}
	return 0
}

// onSky is how far off what the model expects a solve lies, across and along: the same on either side, unlike what an axis is off by.
func onSky(r *rig.Rig, m *pointing.Model, pose, solved rig.Axes) [2]float64 {
	v := m.At(pointing.MountOf(r), pose)
	off := v.Off(direction(r, solved))
	if side := r.Kind.SideOf(pose); side == rig.West || side == rig.Second {
		return [2]float64{-off[0], -off[1]}
	}
	return off
}

func lengthOf(a [2]float64) unit.Angle { return unit.Angle(math.Hypot(a[0], a[1])) }

func farBetween(a, b [2]float64) unit.Angle { return lengthOf([2]float64{a[0] - b[0], a[1] - b[1]}) }

// lead takes a good solve in: one that was let pass is where solves may be led from, and one a step from the last is where they have come to.
func (t *turn) lead(j question.JudgedSolve) {
	if !j.Good || j.Side == "" {
		return
	}
	l, ok := t.s.Led[j.Optics]
	m := PointingModel(t.r, t.s, j.Optics)
	is := onSky(t.r, &m, j.Pose, j.Solved)
	switch {
	case j.Settles():
		t.ledTo(j, false)
	case ok && !l.Mended && farBetween(is, onSky(t.r, &m, l.Pose, l.Solved)) <= ledStep:
		t.ledTo(j, lengthOf(is) > ledFar)
	}
}

// ledTo notes where solves have come to.
func (t *turn) ledTo(j question.JudgedSolve, far bool) {
	all := maps.Clone(t.s.Led)
	if all == nil {
		all = map[string]question.Led{}
	}
	all[j.Optics] = question.Led{Pose: j.Pose, Solved: j.Solved, Far: far}
	t.s.Led = all
}

// mended: somebody set axis 1 anew, so that solves led far off by how it stood lie there no more.
func (t *turn) mended() {
	t.eachLed(func(l question.Led) (question.Led, bool) {
		l.Mended = true
		return l, l.Far
	})
}

// explained: the base moved. Who says so of solves that lie where they were led to, though axis 1 was set anew, has looked.
func (t *turn) explained() {
	t.eachLed(func(l question.Led) (question.Led, bool) { return l, !l.Mended })
}

// rezeroLed is what a homing makes of where solves were led to. What turned unseen is what led them, and so is another zero.
func (t *turn) rezeroLed(h *question.Homing, step rig.Axes, told bool) {
	same := !h.SigmaTold && !(told && step.Abs().Max() > statedHome)
	t.eachLed(func(l question.Led) (question.Led, bool) {
		l.Pose = l.Pose.Sub(step)
		return l, same
	})
}

// eachLed changes what is held of each optics, or drops it.
func (t *turn) eachLed(change func(question.Led) (question.Led, bool)) {
	var all map[string]question.Led
	for optics, l := range t.s.Led {
		if l, held := change(l); held {
			if all == nil {
				all = make(map[string]question.Led, len(t.s.Led))
			}
			all[optics] = l
		}
	}
	t.s.Led = all
}
