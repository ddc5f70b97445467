package season

import (
	"math"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/verdict"
)

// Total is what a gate made of many nights. Bars are those of the project's issue; see Print.
type Total struct {
	Gate   string
	Nights int

	Asked, Accepted       int
	True, False           int // solves asked about
	FalseAccepted         int
	OverDegree            int // accepted solves that brought belief more than 1° off over the ground, or farther off
	LeftDegree            int // accepted ones after which it was still as far off, though no farther than before: a mount that does not take syncs as told
	OverQuarter           int // more than 0.25°, all of both
	WorseQuarter          int // of these, it was farther off than before
	AlikeDegree           int // of OverDegree, with the site wrong alike in rig file and mount
	TurnedDegree          int // of OverDegree, where axes turned unseen since the picture
	WorstBelief           float64
	Slews, EndsOver       int     // slews that ended more than 25° off by syncs
	WorstEnd              float64 // degrees, by syncs
	EndsOverSlip          int     // the same where a slip that no counter knows of makes up for it
	WrongPose, WrongClock int     // accepted while that was wrong by more than 1°
	WrongSite, AlikeSite  int     // the latter with the site wrong alike
	WrongPoseAttested     int     // the same on rigs whose homing a person attests: their own bound is 3°
	WorstPoseAttested     float64
	WorstDrift            float64
	DriftOver             int // nights
	Denied, DeniedSound   int // true solves
	Held, HeldSound       int
	CalmTrue, CalmHeld    int // on nights without a fault
	FairTrue, FairHeld    int // on fair nights
	NextAsked, NextAllows int // held true solves that a true one followed, and of those it was allowed
	Deadlocks             []uint64
	Visits, Missed        int
	Reasons               map[string]int    // of holds and denials of true solves
	Sources               map[string][2]int // by pose source: true solves, and those held
	Wrong                 []Wrong
}

// Wrong are the accepted solves of a night that should not have been and are false in the same way.
type Wrong struct {
	Seed  uint64
	Lot   string
	Count int
	Asked Asked // of these the one that left belief, or had clock, site or pose, farthest off
}

// Bars of the issue, in degrees.
const (
	beliefBar  = 1
	quarterBar = 0.25
	endBar     = 25
	wrongBar   = 1
	attested   = 3
)

// Add adds a night.
func (t *Total) Add(s *Score) {
	if t.Reasons == nil {
		t.Reasons, t.Sources = map[string]int{}, map[string][2]int{}
	}
	t.Gate = s.Gate
	t.Nights++
	t.Slews += s.Slews
	t.Visits += s.Visits
	t.Missed += s.Missed
	for i := range s.Asked {
		t.solve(s, i)
	}
	for _, e := range s.Ends {
		t.end(e)
	}
	d := s.Drift()
	t.WorstDrift = math.Max(t.WorstDrift, d)
	if d > wrongBar {
		t.DriftOver++
	}
	if s.Deadlock() {
		t.Deadlocks = append(t.Deadlocks, s.Lot.Seed)
	}
}

func (t *Total) end(e End) {
	by := e.BySync()
	t.WorstEnd = math.Max(t.WorstEnd, by)
	switch {
	case by > endBar:
		t.EndsOver++
	case max(e.Off[0], e.Off[1]) > endBar:
		t.EndsOverSlip++
	}
}

// solve adds one solve that was asked about.
func (t *Total) solve(s *Score, i int) {
	a := &s.Asked[i]
	t.Asked++
	if a.Mechanism != "" {
		t.False++
	}
	if a.Accepted() {
		t.accepted(s, a)
	}
	if a.True {
		t.truth(s, i)
	}
}

// accepted adds an accepted solve.
func (t *Total) accepted(s *Score, a *Asked) {
	t.Accepted++
	t.WorstBelief = math.Max(t.WorstBelief, a.Belief)
	count := func(is bool, n *int) bool {
		if is {
			*n++
		}
		return is
	}
	count(a.Mechanism != "", &t.FalseAccepted)
	worse := a.Belief > a.Before+0.02
	wrong := count(worse && a.Belief > beliefBar, &t.OverDegree)
	count(wrong && a.Alike, &t.AlikeDegree)
	count(wrong && a.Turned, &t.TurnedDegree)
	count(!worse && a.Belief > beliefBar, &t.LeftDegree)
	wrong = count(a.Belief > quarterBar, &t.OverQuarter) || wrong
	count(worse && a.Belief > quarterBar, &t.WorseQuarter)
	wrong = count(a.Clock > wrongBar, &t.WrongClock) || wrong
	count(a.Site > wrongBar && a.Alike, &t.AlikeSite)
	wrong = count(a.Site > wrongBar, &t.WrongSite) || wrong
	if a.Attested {
		t.WorstPoseAttested = math.Max(t.WorstPoseAttested, a.Pose)
		wrong = count(a.Pose > attested, &t.WrongPoseAttested) || wrong
	} else {
		wrong = count(a.Pose > wrongBar, &t.WrongPose) || wrong
	}
	if wrong {
		t.wrong(s, a)
	}
}

// wrong notes an accepted solve that should not have been, with its like.
func (t *Total) wrong(s *Score, a *Asked) {
	size := func(a *Asked) float64 { return max(a.Belief, a.Clock, a.Site, a.Pose) }
	for i := range t.Wrong {
		if w := &t.Wrong[i]; w.Seed == s.Lot.Seed && w.Asked.Mechanism == a.Mechanism && w.Asked.Faults == a.Faults {
			w.Count++
			if size(a) > size(&w.Asked) {
				w.Asked = *a
			}
			return
		}
	}
	t.Wrong = append(t.Wrong, Wrong{s.Lot.Seed, s.Lot.String(), 1, *a})
}

// truth adds a true solve.
func (t *Total) truth(s *Score, i int) {
	a := &s.Asked[i]
	t.True++
	held := a.Verdict == verdict.Hold
	add := func(asked, heldOnes *int) {
		*asked++
		if held {
			*heldOnes++
		}
	}
	by := t.Sources[s.Lot.Species.Source]
	add(&by[0], &by[1])
	t.Sources[s.Lot.Species.Source] = by
	if s.Lot.Calm() {
		add(&t.CalmTrue, &t.CalmHeld)
	}
	if s.Lot.Kind == Fair {
		add(&t.FairTrue, &t.FairHeld)
	}
	if held {
		t.Held++
		if a.Sound {
			t.HeldSound++
		}
		if i+1 < len(s.Asked) && s.Asked[i+1].True {
			t.NextAsked++
			if s.Asked[i+1].Accepted() {
				t.NextAllows++
			}
		}
	}
	if a.Verdict == verdict.Deny {
		t.Denied++
		if a.Sound {
			t.DeniedSound++
		}
	}
	if !a.Accepted() {
		t.Reasons[s.reason(i)]++
	}
}

// Calm tells whether a night has no fault: false solves it may have.
func (l *Lot) Calm() bool { return len(l.Faults) == 0 && l.Poison == nil }

// reason says in a few words why a true solve was not allowed, and in what case.
func (s *Score) reason(i int) string {
	a := &s.Asked[i]
	why := "unfaulted"
	switch {
	case a.Faults != "":
		why = a.Faults
	case a.Cloud:
		why = "thin cloud"
	case i > 0 && s.Asked[i-1].Mechanism != "" || i > 1 && s.Asked[i-2].Mechanism != "" && !s.Asked[i-1].Accepted():
		why = "after a false one"
	case a.First:
		why = "first since homing"
	case a.Doubt:
		why = "pose in doubt, nothing wrong"
	}
	return s.Lot.Species.Source + ": " + string(a.Verdict) + " by " + strings.Join(a.Codes, ", ") + " [" + why + "]"
}

// Drift is by how much what was accepted in a night walked belief away: the greatest change, over the ground, against what the first one
// left, degrees.
func (s *Score) Drift() float64 {
	var first *[2]float64
	worst := 0.0
	for i := range s.Asked {
		a := &s.Asked[i]
		if !a.Accepted() {
			continue
		}
		if first == nil {
			first = &a.Each
		}
		worst = math.Max(worst, math.Hypot(a.Each[0]-first[0], a.Each[1]-first[1]))
	}
	return worst
}

// Deadlock tells whether no sync was had any more although all was well. Five sound solves in a row over an hour, to the end of the night, none allowed.
func (s *Score) Deadlock() bool {
	const least, over = 5, time.Hour
	n := 0
	var from time.Time
	for i := range s.Asked {
		a := &s.Asked[i]
		switch {
		case a.Accepted():
			n = 0
		case a.Sound:
			if n == 0 {
				from = a.At
			}
			n++
		}
	}
	return n >= least && s.Asked[len(s.Asked)-1].At.Sub(from) >= over
}
