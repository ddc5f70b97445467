package season

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// night is one night under way.
type night struct {
	table  *Table
	lot    *Lot
	gate   Gate
	member decide.Member
	rig    *rig.Rig // as the service reads it
	real   *rig.Rig // where it truly stands
	mount  *practice.Mount
	rng    *rand.Rand // of the program's choices

	now  time.Time     // true
	skew time.Duration // of the computer's clock, the service's with it
	due  []Fault       // those to come, in order of time
	ends time.Time

	path   string // of the record
	rec    *record.Record
	d      *decide.Decider
	permit string
	ids    int

	score    *Score
	quiet    bool // an earlier night: nothing is false, nothing is scored
	earlier  int  // nights before this one that were played
	physical bool // something turned that the counters do not know of, and nobody saw to it yet
	turned   time.Time
	kicked   bool // the same of the tripod
	aligned  bool // the polar axis was adjusted tonight
	angle    unit.Angle
	// mixesFrames: the program calls the catalogue's equinox that of date.
	mixesFrames bool
	heldInARow  int
	away        bool // it was homed, or somebody came: what was under way is over
	unproven    bool // homed, or told of an act, and no solve accepted since: a good program solves blind then
	halted      bool // a slip ended the motion under way
	strayed     bool // it moved off its target for a second picture
	lastAt      time.Time
	before      float64            // error of belief before the sync that is judged, degrees
	poseState   question.PoseState // as held before it
	needs       []verdict.Need     // of the motion last asked for
	solving
}

const (
	person = "R. Alder"
	asker  = "season"
)

// Play plays one night through a gate; dir is a folder for its record, best in memory.
func (t *Table) Play(rigs *Rigs, l Lot, g Gate, dir string) (*Score, error) {
	m, err := rigs.member(l.Species)
	if err != nil {
		return nil, err
	}
	real := *m.Rig
	n := &night{table: t, lot: &l, gate: g, member: m, rig: m.Rig, real: &real, rng: stream(l.Seed, 5), score: &Score{Lot: l, Gate: g.Name, keep: rigs.Story}}
	if err := n.play(dir); err != nil {
		return nil, fmt.Errorf("%s: %w", l.String(), err)
	}
	return n.score, nil
}

// play plays the earlier nights and then this one.
func (n *night) play(dir string) error {
	n.now = n.lot.Start.AddDate(0, 0, -3*len(n.lot.Earlier))
	n.mount = practice.NewMount(n.real, moment, n.now)
	n.mount.Errors = n.lot.Errors
	n.mount.Kick(n.lot.Lean)
	n.angle = n.lot.Solver.angle
	if n.gate.judge == nil {
		n.path = filepath.Join(dir, fmt.Sprintf("%d.keepclear", n.lot.Seed))
		if err := n.open(); err != nil {
			return err
		}
		defer func() { _ = n.rec.Close(); removeRecord(n.path) }()
	}
	if err := n.program(); err != nil {
		return err
	}
	n.score.Ended = n.lasts()
	return nil
}

// removeRecord takes a record and what SQLite keeps beside it away.
func removeRecord(path string) {
	for _, end := range []string{"", "-wal", "-shm", "-lock"} {
		_ = os.Remove(path + end) // what is left is in a folder that goes as a whole
	}
}

// open opens the record of the night and what judges it.
func (n *night) open() (err error) {
	var d *decide.Decider
	n.rec, err = record.Open(n.path, record.Options{
		State:    func(chain string, on record.Head) []byte { return d.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error { return d.Refold() },
	})
	if err != nil {
		return err
	}
	d, err = decide.New(decide.Parts{
		Record: n.rec, Members: []decide.Member{n.member}, Moment: moment, Now: n.clock, Cells: 20_000, NewID: n.newID,
		Clock: func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} },
		Encode: func(a decide.Answer, _ string) (state.Exchanged, error) {
			return state.Exchanged{Type: "season", Bytes: []byte(a.Sentence)}, nil
		},
	})
	n.d = d
	return err
}

// restarts ends the service in the morning and starts it on the same record in the evening.
func (n *night) restarts() error {
	if n.d == nil {
		return nil
	}
	if err := n.rec.Close(); err != nil {
		return err
	}
	if err := n.open(); err != nil {
		return err
	}
	return n.d.WithdrawAfterRestart()
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// clock is the computer's.
func (n *night) clock() time.Time { return n.now.Add(n.skew) }

func (n *night) newID() string {
	n.ids++
	return fmt.Sprintf("season-id-%08d", n.ids)
}

func (n *night) request() decide.Request {
	id := n.newID() + "-request"
	return decide.Request{ID: id, Digest: sha256.Sum256([]byte(id)), Sent: state.Exchanged{Type: "season"}}
}

// to lets time go by without a sample. What is due by then strikes at its instant.
func (n *night) to(t time.Time) {
	for len(n.due) > 0 && !n.due[0].At.After(t) {
		f := n.due[0]
		n.due = n.due[1:]
		n.now = later(n.now, f.At)
		f.strike(n)
		n.score.say(n.now, "fault: %s", f.Words)
	}
	n.now = later(n.now, t)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// sampleEvery is how often the program reports while nothing goes on. Invented.
const sampleEvery = 200 * time.Second

// pass lets time go by with samples.
func (n *night) pass(d time.Duration) error {
	for until := n.now.Add(d); n.now.Before(until); {
		next := n.now.Add(sampleEvery)
		if next.After(until) {
			next = until
		}
		n.to(next)
		if err := n.report(decide.Report{}); err != nil {
			return err
		}
	}
	return nil
}

// told are the notices that a story tells, beside those that take leave back or lock.
var told = []pose.Kind{pose.SolveAgainst, pose.SolveFor, pose.PolarError, pose.OffEnd, pose.TooSoon, pose.UnaskedSync, pose.UnaskedMotion, pose.SyncMissed, pose.Demoted}

// report sends a report with a fresh sample.
func (n *night) report(r decide.Report) error {
	if n.d == nil {
		return nil
	}
	s, err := n.sample()
	if err != nil {
		return err
	}
	r.Rig, r.Asker, r.At, r.Sent, r.Sample = n.rig.ID, asker, n.clock(), n.clock(), s
	out, err := n.d.Report(context.Background(), r, n.request())
	for _, x := range out.Notices {
		if x.Locks || x.Withdraws || slices.Contains(told, x.Kind) {
			n.score.say(n.now, "notice: %s", x.Sentence)
		}
	}
	return err
}

// sample reads the mount, dated by the computer's clock.
func (n *night) sample() (*question.Sample, error) {
	s, err := n.mount.Sample(n.now)
	s.Time = s.Time.Add(n.skew)
	return &s, err
}

// ask puts a question.
func (n *night) ask(act question.Action) (decide.Answer, error) {
	s, err := n.sample()
	if err != nil {
		return decide.Answer{}, err
	}
	q := question.Question{Rig: n.rig.ID, Action: act, Sample: s, Sent: n.clock(), At: n.clock(), Asker: asker, AttendedBy: person}
	if act.Kind != question.Sync {
		q.Replaces = n.permit
	}
	r := n.request()
	q.ID, q.Action.Message = r.ID, []byte("season")
	return n.d.Ask(context.Background(), q, r)
}

// slips: a clutch slips. What reads the axes beyond the clutch sees it.
func (n *night) slips(by rig.Axes) {
	n.halted = n.halted || n.mount.Moving(n.now)
	n.mount.Slip(n.now, by)
	n.turnsUnseen()
}

// turnsUnseen notes that the axes turn and the counters do not know: an encoder does.
func (n *night) turnsUnseen() {
	n.turned, n.physical = n.now, n.rig.Sources[0].Kind != rig.AxisEncoder
}

// standsAt moves the true rig by so much of longitude.
func (n *night) standsAt(by unit.Angle) { n.real.Site.Lon = (n.real.Site.Lon + by).Wrapped() }

// secondSync is the sync of a second program, off by so much in a direction on the sky.
func (n *night) secondSync(by, way unit.Angle) {
	ra, dec, _ := n.mount.Belief(n.now)
	ra, dec = moved(ra, dec, by, way)
	n.mount.Sync(n.now, ra, dec)
}

var errWorld = errors.New("the world of the practice night")
