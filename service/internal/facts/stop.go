package facts

import (
	"time"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Stop is where a mount believes axis angles to point.
type Stop struct {
	Sky  question.Sky // of date
	Side rig.Side
	At   time.Time // then; while the axes stand still its right ascension grows with sidereal time
}

// AsPositions says where the mount, as it counts, believes poses to point: what it would have to be sent to if it can be sent to positions
// only. None where what it believes is not known, or the rig may be in several places. Of the input it reads what Harmless reads.
func AsPositions(in Input, poses []rig.Axes) []Stop {
	in.Rig = pose.AsShown(in.Rig, in.Snapshot.Rig)
	h, err := newHeaven(&in, in.Snapshot.At)
	if err != nil {
		return nil
	}
	s := in.newStand(h, in.carried())
	mount, ahead := s.mount, rig.Axes{}
	if in.Rehearsed { // belief and clocks taken as right
		mount = h.ours(h.moment)
	} else if ahead = s.ahead(); !s.believes || s.mapLack != nil {
		return nil
	}
	if s.pose.State != question.Known || len(s.pose.Candidates) != 1 {
		return nil
	}
	var out []Stop
	for _, a := range poses {
		ra, dec, side := in.Rig.Unmap(mount, a.Add(ahead))
		out = append(out, Stop{question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, side, in.Snapshot.At})
	}
	return out
}
