package slow_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/slow"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// stood is a drawn rig that stands, with the rules bound to its limits.
type stood struct {
	*drawn
	rig    *rig.Rig
	limits limits.Set
	rules  *rules.Set
	shelf  *reach.Shelf // nil: nothing is kept
}

// loaded are the rules, compiled once.
var loaded = sync.OnceValues(func() (*rules.Set, error) {
	lim, err := limitsOf(&rig.Rig{Limits: []rig.Limit{
		{Rule: "travel/axis1", Name: "low_deg", Value: -1}, {Rule: "travel/axis1", Name: "high_deg", Value: 1},
		{Rule: "travel/axis2", Name: "low_deg", Value: -1}, {Rule: "travel/axis2", Name: "high_deg", Value: 1},
	}})
	if err != nil {
		return nil, err
	}
	return rules.Load(policies.Files(), lim)
})

func limitsOf(r *rig.Rig) (limits.Set, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return limits.Set{}, err
	}
	own := limits.Layer{Name: "rig lot", File: "lot.yaml"}
	for _, l := range r.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value, Line: l.Line})
	}
	return limits.Merge(defs, own)
}

// stand draws rigs until one stands.
func stand(n int) (*stood, error) {
	rng := rand.New(rand.NewPCG(uint64(n), 3141))
	kind, south := []string{slow.German, slow.Fork, slow.AltAz}[n%3], n/3%2 == 1
	var why []string
	for tries := range 400 {
		d := drawRig(rng, kind, south)
		r, bad := rig.Parse("lot.yaml", []byte(d.text.String()), nil)
		if r == nil {
			why = nil
			for _, f := range bad {
				why = append(why, f.Error())
			}
			continue
		}
		if n%10 != 9 && tries < 300 && d.slow.Clear(d.slow.Home, d.limits) < 0 { // of what is too near at home every answer is much the same
			continue
		}
		if len(r.Parts) != len(d.slow.Parts) {
			return nil, fmt.Errorf("the file has %d parts, the plain rig %d", len(r.Parts), len(d.slow.Parts))
		}
		lim, err := limitsOf(r)
		if err != nil {
			return nil, err
		}
		set, err := loaded()
		if err == nil {
			set, err = set.With(lim)
		}
		return &stood{d, r, lim, set, shelfOf(n)}, err
	}
	return nil, fmt.Errorf("no rig of number %d stands: %s", n, strings.Join(why, "; "))
}

// shelfOf is what one rig in seven keeps, as the service does, of what is proven of its whole axis space: to work that out takes more time than
// some hundred questions save by it. Of the others every question is proven by itself; the answers are the same.
func shelfOf(n int) *reach.Shelf {
	if n%7 == 0 {
		return reach.NewShelf()
	}
	return nil
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// answered is what the service answers.
type answered struct {
	verdict  verdict.Verdict
	findings map[string]verdict.Finding
	facts    facts.Set
}

// fewCells is the work budget of most questions. Of some thousand none was answered otherwise with the service's own: what that buys is when
// parts that overlap first touched. What is refused needlessly is asked again with the service's own, and so is one question in ownIn.
const (
	fewCells = 150
	ownIn    = 60
)

func cellsOf(n int) int {
	if n%ownIn == 0 {
		return int(reach.DefaultBudget)
	}
	return fewCells
}

// ask puts a question to the service's own rooms, as decide does.
func (s *stood) ask(q *slow.Question, cells int) answered {
	in := s.input(q)
	in.Cells = cells
	return s.judge(in)
}

func (s *stood) input(q *slow.Question) facts.Input {
	return facts.Input{
		Question: s.question(q), Snapshot: s.snapshot(q), Rig: s.rig, Limits: s.limits, Moment: moment, Cells: int(reach.DefaultBudget), Shelf: s.shelf,
	}
}

func subject(s *stood, q *slow.Question) rules.Subject {
	return decide.Subject(s.rig, s.question(q).Action)
}

func (s *stood) judge(in facts.Input) answered {
	out := facts.Compute(in)
	sub := decide.Subject(s.rig, in.Question.Action)
	all := s.rules.Judge(context.Background(), sub, out.Facts, in.Question.At)
	a := answered{verdict.Combine(all, s.rules.IDs(), rules.Required(sub)), map[string]verdict.Finding{}, out.Facts}
	for _, f := range all {
		a.findings[f.Rule] = f
	}
	return a
}

func after(at time.Time, s float64) time.Time { return at.Add(time.Duration(math.Round(s * 1e9))) }

func ptr[T any](v T) *T { return &v }

func angle(v *float64) *unit.Angle {
	if v == nil {
		return nil
	}
	return ptr(unit.Angle(*v))
}

func axes(a slow.Axes) rig.Axes { return rig.Axes{A1: unit.Angle(a[0]), A2: unit.Angle(a[1])} }

func skyOf(s *slow.Sky) *question.Sky {
	if s == nil {
		return nil
	}
	out := question.Sky{RA: unit.Angle(s.RA), Dec: unit.Angle(s.Dec), Frame: question.OfDate}
	if s.ICRS {
		out.Frame = question.ICRS
	}
	return &out
}

// question is a question in the service's nouns.
func (s *stood) question(q *slow.Question) question.Question {
	a := question.Action{
		Kind: question.Kind(q.Kind), Sky: skyOf(q.Sky), Side: rig.Side(q.Side), Follow: time.Duration(q.Follow * 1e9), Order: rig.Sharing(q.Order), Given: skyOf(q.Given),
	}
	if q.Axes != nil {
		a.Axes = ptr(axes(*q.Axes))
	}
	if q.Rate > 0 {
		a.Rate = ptr(unit.Angle(q.Rate))
	}
	if v := q.Solve; v != nil {
		a.Solve = s.solve(q, v)
	}
	out := question.Question{ID: "lot", Rig: s.rig.ID, Action: a, At: q.At, Asker: "lot", BeginLater: q.BeginLater, Sample: s.sample(q)}
	if q.Attended {
		out.AttendedBy = "A. Person"
	}
	if q.Sent != nil {
		out.Sent = after(q.At, *q.Sent)
	}
	return out
}

func (s *stood) solve(q *slow.Question, v *slow.Solve) *question.Solve {
	out := &question.Solve{
		Sky: *skyOf(&v.Sky), Exposure: time.Duration(math.Round(v.Exposure * 1e9)), Pixel: angle(v.Pixel), Width: angle(v.Width), Rotation: angle(v.Rotation),
		Mirrored: v.Mirrored, Matched: v.Matched, Residual: angle(v.Residual), Radius: angle(v.Radius), Hint: skyOf(v.Hint), Picture: v.Picture,
	}
	if v.Start != nil {
		out.Start = after(q.At, *v.Start)
	}
	if v.Mid != nil {
		out.Mid = &question.Sample{Time: after(q.At, *v.Mid)}
	}
	return out
}

func (s *stood) sample(q *slow.Question) *question.Sample {
	m := &q.State.Sample
	out := &question.Sample{Received: q.At, Doing: question.Doing(m.Doing), Sidereal: angle(m.LST)}
	if m.Time != nil {
		out.Time = after(q.At, *m.Time)
	}
	if m.Belief != nil {
		out.Belief = &question.Belief{Sky: *skyOf(m.Belief), Side: rig.Side(m.Side)}
	}
	if m.Site != nil {
		out.Site = &question.Place{Lat: unit.Angle(m.Site[0]), Lon: unit.Angle(m.Site[1])}
	}
	for _, p := range m.Parts {
		out.Parts = append(out.Parts, rig.PartState{Part: p.Part, Name: p.Name, Measure: p.Measure, Unit: "mm"})
	}
	return out
}

// snapshot is what the service would hold.
func (s *stood) snapshot(q *slow.Question) question.Snapshot {
	st := &q.State
	m := s.sample(q)
	held := question.RigState{Sample: m, Still: m, Site: m.Site, Learnt: map[rig.Side]question.Offsets{}}
	held.Homing = &question.Homing{ID: "home", At: q.At.Add(-3 * time.Hour), Person: "A. Person"} // else the count is lost, and tracking with it
	held.Pose = question.Pose{State: question.Known, At: m.Time, Source: rig.Reckoned}
	switch {
	case len(st.Places) == 0:
		held.Pose.State = question.Unknown
	case !st.Known:
		held.Pose.State = question.Candidates
	}
	if st.Counts {
		held.Pose.Source = rig.MotorCount
	}
	for _, p := range st.Places {
		held.Pose.Candidates = append(held.Pose.Candidates, question.Candidate{Axes: axes(p.Axes), Sigma: axes(p.Sigma)})
	}
	for side, o := range st.Learnt {
		held.Learnt[rig.Side(side)] = question.Offsets{Axes: axes(o), Count: 3}
	}
	if st.Pointing != nil {
		held.Pointing = map[string]pointing.Model{s.optics(): s.pointing(st.Pointing)}
	}
	if st.Disproof {
		held.Disproved = &question.Disproof{Says: s.rig.Mount.Sync, RigDigest: s.rig.Digest}
	}
	if st.Limit != nil {
		held.Limits = []question.MountLimit{{Axis: s.rig.Stop.Axis, Limit: unit.Angle(*st.Limit), Seen: q.At.Add(-time.Hour)}}
	}
	s.history(q, &held)
	out := question.Snapshot{Rig: held, At: q.At, Clock: clockOf(q)}
	for i := range st.Locks {
		out.Locks = append(out.Locks, question.Lock{ID: fmt.Sprint("lock ", i), SetBy: "A. Person"})
	}
	if st.Unheard {
		out.Unheard = "the sample is older than the one held"
	}
	return out
}

// optics is the name of the rig's telescope; empty: the file has none.
func (s *stood) optics() string {
	if len(s.rig.Optics) == 0 {
		return ""
	}
	return s.rig.Optics[0].Name
}

// pointing is a pointing model as the service keeps it.
func (s *stood) pointing(p *slow.Pointing) pointing.Model {
	m := pointing.New(pointing.Mount{Kind: s.rig.Kind, Chain: &s.rig.Chain}, rig.Axes{})
	m.Fit = fit(&p.Fit)
	m.Count, m.Taken = p.Count, unit.Angle(p.Taken)
	if p.Settled != nil {
		old := fit(p.Settled)
		m.Settled = &old
	}
	for i, r := range p.Runs {
		m.Runs[i] = float32(r)
	}
	return m
}

func fit(f *slow.Fit) (out pointing.Fit) {
	k := 0
	for i := range f.Terms {
		out.Terms[i] = unit.Angle(f.Terms[i])
		for j := range i + 1 {
			out.Cov[k] = float32(f.Cov[i][j])
			k++
		}
	}
	return out
}

func clockOf(q *slow.Question) question.Clock {
	c := q.State.Clock
	var out question.Clock
	if c.Jumped {
		out.Jumped = "the wall clock jumped"
	}
	if c.Kernel != nil {
		out.KernelSynced, out.KernelBoundS = true, *c.Kernel
	}
	if c.Good != nil {
		out.GoodAt, out.GoodBoundS = ptr(after(q.At, -c.Good.Ago)), c.Good.Bound
	}
	if c.Told != nil {
		out.ToldAt, out.ToldBoundS = ptr(after(q.At, -c.Told.Ago)), c.Told.Bound
	}
	return out
}

// history fills in what is held of proofs, syncs, solves and samples.
func (s *stood) history(q *slow.Question, held *question.RigState) {
	st := &q.State
	if p := st.Proof; p != nil {
		held.Proof = &question.Proof{Person: "A. Person", At: after(q.At, -p.Days*86400), RigDigest: s.rig.Digest, SignsChecked: !p.Void, ResidualMM: p.Residual}
	}
	for _, d := range st.Syncs {
		held.Syncs = append(held.Syncs, question.SyncDone{At: after(q.At, d.Time), Axes: axes(d.Axes), Nearer: d.Nearer})
	}
	if by := st.Synced; by != [2]float64{} {
		held.Steps = []question.Step{{At: q.At.Add(-time.Hour), Sky: [2]unit.Angle{unit.Angle(by[0]), unit.Angle(by[1])}, Asked: true}}
	}
	if by := st.Kept; by != [2]float64{} {
		held.Kept = &[2]unit.Angle{unit.Angle(by[0]), unit.Angle(by[1])}
		for i := range held.Pose.Candidates {
			if st.KeptSure {
				held.Pose.Candidates[i].Kept = rig.KeptSince
			}
		}
	}
	held.Solves, held.Before = s.solves(q, st.Solves), s.solves(q, st.Before)
	if d := st.Drift; d != nil {
		was := question.Drift{Pose: axes(d.Pose), Solved: axes(d.Solved)}
		for i, sum := range d.Sums {
			was.Sums[i] = float32(sum)
		}
		if d.Comparable {
			was.Mid = after(q.At, d.Mid)
		}
		if f := d.From; f != nil {
			was.FromPose, was.FromSolved, was.FromMid = axes(f.Pose), axes(f.Solved), after(q.At, f.Mid)
		}
		held.Drifts = map[string]question.Drift{}
		for _, side := range []rig.Side{rig.East, rig.West, rig.First, rig.Second} {
			held.Drifts[string(side)+" "+s.optics()] = was
		}
	}
	for _, m := range st.Marks {
		held.Recent = append(held.Recent, question.SampleMark{Time: after(q.At, m.Time), Doing: question.Doing(m.Doing), Axes: axes(m.Axes), Known: m.Known})
	}
}

// solves are judged solves as the service keeps them.
func (s *stood) solves(q *slow.Question, all []slow.Judged) (out []question.JudgedSolve) {
	for _, v := range all {
		out = append(out, question.JudgedSolve{
			Verdict: question.SolveVerdict(v.Verdict), Mid: after(q.At, v.Mid), Picture: v.Picture, Optics: "main", Blind: v.Blind, Hint: skyOf(v.Hint), Sky: skyOf(v.Sky),
			Pose: axes(v.Pose), Solved: axes(v.Solved), Field: unit.Angle(v.Field), Good: v.Good, Agreed: v.Agreed, Against: v.Against, Side: s.rig.Kind.SideOf(axes(v.Pose)),
		})
	}
	return out
}
