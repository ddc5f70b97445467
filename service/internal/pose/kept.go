package pose

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// AsShown is the rig as its file has it, less what samples disproved of how it keeps a sync: that is then unknown, so both forms count. A
// homing takes the syncs away and not the manner of keeping them, so only another revision of the file ends it.
func AsShown(r *rig.Rig, s question.RigState) *rig.Rig {
	d := s.Disproved
	if r == nil || d == nil || d.RigDigest != r.Digest || d.Says != r.Mount.Sync || d.Says == rig.KeptInModel { // a model stays without bounds
		return r
	}
	shown := *r
	shown.Mount.Sync = rig.KeptUnknown
	return &shown
}

// disprove keeps that the mount keeps its syncs otherwise than the file says.
func (t *turn) disprove(m *move) {
	t.s.Disproved = &question.Disproof{Says: t.r.Mount.Sync, RigDigest: t.r.Digest, At: when(m.y)}
	t.r = AsShown(t.r, t.s)
}

// disproved tells whether what the file says of keeping syncs is known to be wrong.
func (t *turn) disproved() bool { return t.r != t.w.Rig }

// keptOtherwise tells, and puts in doubt, whether belief turned as the source did if the mount keeps its syncs in the form that the file
// does not say. The source is right then, and the place known; but where the next slew ends is not, until the syncs are gone.
func (t *turn) keptOtherwise(m *move, seems rig.Axes) bool {
	says, shows := t.r.Mount.Sync, rig.KeptOnSky
	if says == rig.KeptOnSky {
		shows = rig.KeptOnAxes
	}
	if says == rig.KeptInModel || !m.believed || len(t.s.Steps) == 0 || !t.beliefAgrees(m, seems, shows) {
		return false
	}
	t.doubt("the mount keeps its syncs as %s, the rig file says %s: mend the file, then home", offsetOf(shows), offsetOf(says))
	t.say(OffEnd, m.permit.ID, "%s; until the file is mended both count", t.s.Doubt)
	t.disprove(m)
	return true
}

// offsetOf names a form of keeping syncs for people.
func offsetOf(k rig.SyncKeeping) string {
	switch k {
	case rig.KeptOnSky:
		return "an offset on the sky"
	case rig.KeptOnAxes:
		return "an offset of its axes"
	case rig.KeptUnknown, rig.KeptInModel, rig.NotKept, rig.KeptSince, rig.KeptAnew:
	}
	return string(k)
}

// freshSyncs is how old the last sample may be where no run mark vouches that the mount ran on since, so that what syncs made of its belief is still taken to be
// there. Choice: a person looks, walks and writes; who comes back later has switched it on anew.
const freshSyncs = time.Hour

// kept is by how much a homing that only says where the axes are leaves belief moved by syncs, and by which form the place goes from then on: an offset on
// the sky is none of the counters. A sensor's homing sets the mount anew, syncs and all. nil: nothing, or nothing shows that the mount ran on. A form is
// given where belief shows that the mount knows nothing of the homing, and by its run mark it cannot have lost earlier syncs unseen; of a mount that may keep its
// syncs on its axes it says nothing. Open: where it may have forgotten some of several homings' syncs, those between count only with all of them.
func (t *turn) kept(h *question.Homing, x *question.Sample) (*[2]unit.Angle, rig.SyncKeeping) {
	last := t.s.Sample
	if h.Sensed || last == nil || !t.r.Mount.Sync.MaybeOnSky() {
		return nil, ""
	}
	if x != nil && x.RunMark != "" && last.RunMark != "" {
		if x.RunMark != last.RunMark {
			return nil, ""
		}
	} else if h.At.Sub(clock(last)) > freshSyncs {
		return nil, ""
	}
	sum := t.undo(rig.KeptSince)
	if t.all(rig.KeptAnew) { // it forgot those of before
		sum = t.shift()
	}
	if sum == ([2]unit.Angle{}) {
		return nil, ""
	}
	switch same, home, told := t.tookHome(h, last, x, sum); {
	case !told:
	case !same && home:
		return nil, ""
	case same && !home && t.r.Mount.Sync == rig.KeptOnSky && t.ranOn(last, x) && (t.s.Kept == nil || t.all(rig.KeptSince)):
		return &sum, rig.KeptSince
	}
	return &sum, ""
}

// all tells whether every place held goes by one form of keeping.
func (t *turn) all(f rig.SyncKeeping) bool {
	return len(t.s.Anchored) > 0 && !slices.ContainsFunc(t.s.Anchored, func(c question.Candidate) bool { return c.Kept != f })
}

// ranOn tells whether the mount vouches that it is the same run as ever since the run that is held began.
func (t *turn) ranOn(last, x *question.Sample) bool {
	return x.RunMark != "" && x.RunMark == last.RunMark && x.RunMark == t.s.RunMark
}

// tookHome tells whether belief is the same with a homing as before it, and whether with no offset at all, and not with that of syncs, it has the counters at
// the rig's home, as they are once a mount was told that it is there and forgot its syncs. Not told: belief was not, or says little, or the syncs are no more
// than what it may be off by.
func (t *turn) tookHome(h *question.Homing, last, x *question.Sample, syncs [2]unit.Angle) (same, home, told bool) {
	v, w := t.view(last), t.view(x)
	if !v.ok || !w.ok || !last.Still() || !x.Still() {
		return false, false, false
	}
	side := t.r.Kind.SideOf(h.Axes) // either would do: directions are compared, which say the same near the end of axis 1 too
	points := func(v view, less [2]unit.Angle) frame.Vec[frame.Rig] { return direction(t.r, t.axes(v, less, side)) }
	drift := t.drift(h.Axes, last, x)
	was := direction(t.r, t.axes(v, [2]unit.Angle{}, side).Add(drift[0].Add(drift[1]).Scale(0.5)))
	now, at := points(w, [2]unit.Angle{}), direction(t.r, t.r.Home)
	allowed := t.tolerance(h.Axes, last, x).A2
	same = now.Angle(was) <= allowed+drift[1].Sub(drift[0]).Max()/2
	home = now.Angle(at) <= allowed
	with := points(w, syncs)
	return same, home, now.Angle(with) > 2*allowed && (same || with.Angle(at) > allowed)
}

// keptApart says why places differ that differ by how the mount keeps its syncs; empty: they do not.
func keptApart(cands []question.Candidate) string {
	what := ""
	for _, c := range cands[1:] {
		switch {
		case c.Kept == cands[0].Kept:
		case c.Kept == rig.KeptSince || cands[0].Kept == rig.KeptSince:
			return "whether the mount still has its syncs from before the homing is not known, and by that it stands in one place or another: a picture may tell, or homing"
		default:
			what = "how the mount keeps its syncs is not known, and by that it stands in one place or another: a picture may tell, or homing"
		}
	}
	return what
}

// formsWide is how wide, one standard deviation, a place may be that holds both forms in which a mount may keep its syncs: a third of the 1.2° that
// pose/sharp passes, so that what is judged by it loses little room. Choice.
const formsWide = 0.4 * unit.Degree

// eitherForm makes one place of two that differ only by how the mount keeps its syncs, which the file does not say, and lie so near together that one that
// holds both, three sigma each, is sharp. It stands for either form, so the next motion looks at both again, from all of it. Near the end of axis 1 they
// stay several.
func (t *turn) eitherForm(cands []question.Candidate) (out []question.Candidate) {
	if t.w.Rig.Mount.Sync != rig.KeptUnknown {
		return cands
	}
next:
	for _, c := range cands {
		for i, o := range out {
			one := covering(o, c)
			if t.differByForm(o, c) && !beyond(one.Sigma, rig.Axes{A1: formsWide, A2: formsWide}) {
				out[i] = one
				continue next
			}
		}
		out = append(out, c)
	}
	return out
}

// differByForm tells whether two places on one side, off the end of axis 1, differ by nothing but how the mount keeps its syncs.
func (t *turn) differByForm(a, b question.Candidate) bool {
	alike := a.Because == "" && b.Because == "" && a.Solve == b.Solve && t.r.Kind.SideOf(a.Axes) == t.r.Kind.SideOf(b.Axes)
	return alike && eitherKept(a, b) && !t.nearEnd(a.Axes) && !t.nearEnd(b.Axes)
}

// eitherKept tells whether one of two places supposes syncs kept on the axes, the other on the sky.
func eitherKept(a, b question.Candidate) bool {
	return a.Kept == rig.KeptOnAxes && b.Kept == rig.KeptOnSky || a.Kept == rig.KeptOnSky && b.Kept == rig.KeptOnAxes
}

// covering is a place wide enough for two, three sigma each. Where they differ by how the mount keeps its syncs, both forms go on counting.
func covering(a, b question.Candidate) question.Candidate {
	wideA, wideB := question.Sigma3(a.Sigma), question.Sigma3(b.Sigma)
	low, high := smaller(a.Axes.Sub(wideA), b.Axes.Sub(wideB)), larger(a.Axes.Add(wideA), b.Axes.Add(wideB))
	a.Axes, a.Sigma = low.Add(high).Scale(0.5), high.Sub(low).Scale(1.0/6)
	if a.Kept != b.Kept {
		a.Kept = ""
	}
	return a
}
