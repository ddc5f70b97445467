package facts

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/timescale"
)

// present puts the facts about locks, people, proof and clocks: what a rehearsal does not ask about.
func (in *Input) present(f Set) {
	f.Number("lock_count", float64(len(in.Snapshot.Locks)), Computed, lockIDs(in.Snapshot.Locks)...)
	f.Truth("attended", in.Question.AttendedBy != "", Told)
	in.proof(f)
	in.clockError(f)
	in.clockSkew(f)
}

func lockIDs(locks []question.Lock) []string {
	var ids []string
	for _, l := range locks {
		ids = append(ids, l.ID)
	}
	return ids
}

// proof puts what a person's check of the rig file found. Where somebody attends and nothing was proved yet the numbers count as
// no error: commissioning needs motion.
func (in *Input) proof(f Set) {
	p := in.Snapshot.Rig.Proof
	why := ""
	switch {
	case p == nil:
		why = "the rig file was never proved against the rig"
	case p.RigDigest != in.Rig.Digest:
		why = "the rig file was changed after " + p.Person + " proved it"
	case p.Stale != "":
		why = p.Stale
	case !p.SignsChecked:
		why = "the directions of the axes were not checked"
	}
	if why == "" {
		f.Number("proof_residual_mm", p.ResidualMM, Told, p.Person)
		f.Number("proof_age_days", in.Snapshot.At.Sub(p.At).Hours()/24, Computed, p.Person)
		return
	}
	if in.Question.AttendedBy != "" {
		f.Number("proof_residual_mm", 0, Absent, why)
		f.Number("proof_age_days", 0, Absent, why)
		return
	}
	f.Lack("proof_residual_mm", why, "rig_proof")
	f.Lack("proof_age_days", why, "rig_proof")
}

// driftPPM is how fast a clock that nobody disciplines may walk away: 50 parts per million, the tolerance of an ordinary quartz
// oscillator. Common practice, no source.
const driftPPM = 50e-6

// clockError puts the smallest bound that holds for the service's own clock: the kernel's while it says that it is synchronised,
// the last good offset or a person's statement, both widened by the drift since.
func (in *Input) clockError(f Set) {
	c := in.Snapshot.Clock
	if c.Jumped != "" {
		f.Lack("clock_error_s", c.Jumped, "clock")
		return
	}
	best, from := math.Inf(1), ""
	take := func(bound float64, name string) {
		if bound >= 0 && bound < best {
			best, from = bound, name
		}
	}
	if c.KernelSynced {
		take(c.KernelBoundS, "kernel")
	}
	if c.GoodAt != nil {
		take(c.GoodBoundS+driftPPM*math.Abs(in.Snapshot.At.Sub(*c.GoodAt).Seconds()), "last synchronised "+c.GoodAt.UTC().Format("2006-01-02 15:04"))
	}
	if c.ToldAt != nil {
		take(c.ToldBoundS+driftPPM*math.Abs(in.Snapshot.At.Sub(*c.ToldAt).Seconds()), "told "+c.ToldAt.UTC().Format("2006-01-02 15:04"))
	}
	if from == "" {
		f.Lack("clock_error_s", "nothing bounds the error of this machine's clock: it is not synchronised and nobody has stated its error", "clock")
		return
	}
	f.Number("clock_error_s", best, Measured, from)
}

// clockSkew puts how far the asker's clock is from ours: the sending time, or else the sample's, against the receipt. A message
// can be late but not early, so a later stamp than ours is skew whole.
func (in *Input) clockSkew(f Set) {
	q := in.Question
	sent, what := q.Sent, "sending time"
	if sent.IsZero() && q.Sample != nil {
		sent, what = q.Sample.Time, "sample time"
	}
	if sent.IsZero() && in.Snapshot.Rig.Sample != nil {
		s := in.Snapshot.Rig.Sample
		if !s.Time.IsZero() && !s.Received.IsZero() {
			f.Number("clock_skew_s", math.Abs(s.Received.Sub(s.Time).Seconds()), Computed, "last sample")
			return
		}
	}
	if sent.IsZero() {
		f.Lack("clock_skew_s", "neither a sending time nor a sample time was given", "sample")
		return
	}
	if s := q.Sample; s != nil && s.Time.After(q.At) && s.Time.Sub(q.At) > q.At.Sub(sent).Abs() { // read after it came in
		sent, what = s.Time, "sample time"
	}
	about := []string{fmt.Sprintf("%s %s, ours %s", what, clock(sent), clock(q.At))}
	if like := timescale.LikelyHours(sent.Sub(q.At)); like != "" {
		about = append(about, like)
	}
	f.Number("clock_skew_s", math.Abs(q.At.Sub(sent).Seconds()), Computed, about...)
}

// looseSkew is how far the clocks of asker and service may differ before no time/agree lets the question pass: the loosest that its skew_s may be
// set to. Source: the project's design, section 19.
const looseSkew = 30 * time.Second

// AskedAt is the instant that counts as now where an asker names another one: ours, or the asker's own by its sending time, or else its
// sample's, where the two clocks are so far apart that the question is held for that. Which of them is wrong is not known then, and what an
// asker says contradicts itself by its own clock only.
func AskedAt(q question.Question) time.Time {
	sent := q.Sent
	if sent.IsZero() && q.Sample != nil {
		sent = q.Sample.Time
	}
	if sent.IsZero() || q.At.Sub(sent).Abs() <= looseSkew {
		return q.At
	}
	return sent
}

func clock(t time.Time) string { return t.UTC().Format("15:04:05.0") }
