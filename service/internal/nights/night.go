package nights

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/timescale"
)

// night is one night under way.
type night struct {
	dir     string // of testdata
	file    string
	rigText string
	rig     *rig.Rig
	mount   *practice.Mount
	camera  *practice.Camera
	rec     *record.Record
	d       *decide.Decider

	mu        sync.Mutex
	now       time.Time
	clock     func(time.Time) question.Clock
	ids       int
	person    string // who attends; empty: nobody
	later     bool   // questions ask to begin later
	every     time.Duration
	tidy      bool // samples carry what the mount tells; false: bare ones
	noSend    bool // the asker sends no sending time
	permit    string
	questions int
	cut       time.Duration // of the last question's motion, what is seen of it
	uncounted bool          // the counters were lost since the last homing
	notices   []pose.Notice
	answer    decide.Answer
}

// shared are the rules, read once: they are the same for every night.
var shared = sync.OnceValues(func() (*rules.Set, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return nil, err
	}
	own := limits.Layer{Name: "any"}
	for _, axis := range []string{"travel/axis1", "travel/axis2"} {
		own.Entries = append(own.Entries, limits.Entry{Rule: axis, Name: "low_deg", Value: -180.0}, limits.Entry{Rule: axis, Name: "high_deg", Value: 180.0})
	}
	lim, err := limits.Merge(defs, own)
	if err != nil {
		return nil, err
	}
	return rules.Load(policies.Files(), lim)
})

// Play plays a night of testdata; record is a path for its record. The error names file and line, what was wanted and what came.
func Play(testdata, file, recordPath string) (questions int, err error) {
	text, err := os.ReadFile(filepath.Join(testdata, "nights", file))
	if err != nil {
		return 0, err
	}
	lines, err := parse(string(text))
	if err != nil {
		return 0, fmt.Errorf("%s: %w", file, err)
	}
	n := &night{dir: testdata, file: file, every: time.Minute, tidy: true}
	n.clock = func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} }
	defer func() {
		if n.rec != nil {
			err = errors.Join(err, n.rec.Close())
		}
	}()
	for _, l := range lines {
		if err := n.play(l, recordPath); err != nil {
			return n.questions, fmt.Errorf("%s:%d: %s: %w", file, l.number, strings.Join(l.words, " "), err)
		}
	}
	return n.questions, nil
}

// play does one line.
func (n *night) play(l line, recordPath string) error {
	a := &arguments{words: l.words[1:]}
	switch l.words[0] {
	case "rig":
		return n.readRig(a)
	case "change":
		return n.change(a)
	case "start":
		return n.start(a, recordPath)
	}
	if n.d == nil {
		return fmt.Errorf("\"start\" must come first")
	}
	verbs := map[string]func(*arguments, []string) error{
		"ask": n.ask, "expect": n.expect, "at": n.at, "wait": n.wait, "mount": n.doMount, "report": n.report, "attended": n.attended, "clock": n.setClock,
		"samples": n.samples, "questions": n.setQuestions, "restart": func(a *arguments, _ []string) error { return errors.Join(n.restart(recordPath), a.done()) },
	}
	verb, ok := verbs[l.words[0]]
	if !ok {
		return fmt.Errorf("there is no such verb")
	}
	return verb(a, l.want)
}

func (n *night) readRig(a *arguments) error {
	name := a.next()
	path := filepath.Join(n.dir, "rigs", name)
	if name == "heron" {
		n.rigText = string(practice.HeronFile())
		return a.done()
	}
	b, err := os.ReadFile(path)
	n.rigText = string(b)
	return errors.Join(err, a.done())
}

// change replaces text of the rig file: change "a" to "b"; \n stands for a line's end.
func (n *night) change(a *arguments) error {
	from := strings.ReplaceAll(a.next(), "\\n", "\n")
	a.take("to")
	to := strings.ReplaceAll(a.next(), "\\n", "\n")
	if strings.Count(n.rigText, from) != 1 {
		return fmt.Errorf("%q stands %d times in the rig file, want once", from, strings.Count(n.rigText, from))
	}
	n.rigText = strings.Replace(n.rigText, from, to, 1)
	return a.done()
}

func (n *night) start(a *arguments, recordPath string) error {
	t, err := time.Parse("2006-01-02T15:04Z", a.next())
	if err != nil {
		return err
	}
	n.now = t.UTC()
	r, bad := rig.Parse("rig file", []byte(n.rigText), nil)
	if r == nil {
		return fmt.Errorf("the rig file: %v", bad)
	}
	n.rig = r
	n.mount = practice.NewMount(r, moment, n.now)
	n.camera = practice.NewCamera(n.mount, 1)
	return errors.Join(n.open(recordPath), a.done())
}

// open opens the record and folds it.
func (n *night) open(recordPath string) error {
	set, err := shared()
	if err != nil {
		return err
	}
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return err
	}
	own := limits.Layer{Name: "rig " + n.rig.ID}
	for _, l := range n.rig.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value, Line: l.Line})
	}
	lim, err := limits.Merge(defs, own)
	if err != nil {
		return err
	}
	bound, err := set.With(lim)
	if err != nil {
		return err
	}
	var d *decide.Decider
	n.rec, err = record.Open(recordPath, record.Options{
		State:    func(chain string, on record.Head) []byte { return d.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error { return d.Refold() },
	})
	if err != nil {
		return err
	}
	d, err = decide.New(decide.Parts{
		Record: n.rec, Members: []decide.Member{{Rig: n.rig, Limits: lim, Rules: bound}}, Moment: moment, Now: n.Now, Cells: 20_000,
		Clock: func(t time.Time) question.Clock { return n.clock(t) }, NewID: n.newID,
		Encode: func(decide.Answer, string) (state.Exchanged, error) { return state.Exchanged{Type: "night"}, nil },
	})
	if err != nil {
		return err
	}
	n.d = d
	return d.WithdrawAfterRestart()
}

// restart stops the service and starts it anew on the same record.
func (n *night) restart(recordPath string) error {
	if err := n.rec.Close(); err != nil {
		return err
	}
	n.permit = ""
	return n.open(recordPath)
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

// Now is the night's clock.
func (n *night) Now() time.Time {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.now
}

func (n *night) to(t time.Time) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if t.After(n.now) {
		n.now = t
	}
}

func (n *night) newID() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.ids++
	return fmt.Sprintf("night-id-%08d", n.ids)
}

func (n *night) request() decide.Request {
	id := n.newID() + "-request"
	return decide.Request{ID: id, Digest: sha256.Sum256([]byte(id)), Sent: state.Exchanged{Type: "night"}}
}

// sample reads the mount.
func (n *night) sample() (*question.Sample, error) {
	s, err := n.mount.Sample(n.Now())
	if err != nil {
		return nil, err
	}
	if !n.tidy {
		s.RunMark, s.Sequence, s.SyncCount, s.Sidereal, s.Site = "", nil, nil, nil, nil
	}
	return &s, nil
}

// send reports an event with a fresh sample.
func (n *night) send(r decide.Report) error {
	r.Rig, r.Asker, r.At, r.Sent = n.rig.ID, "night", n.Now(), n.Now()
	if r.Sample == nil {
		s, err := n.sample()
		if err != nil {
			return nil // a silent mount sends nothing
		}
		r.Sample = s
	}
	out, err := n.d.Report(context.Background(), r, n.request())
	if err != nil {
		return err
	}
	n.notices = append(n.notices, out.Notices...)
	return nil
}

// pass lets time go by, with a sample now and then.
func (n *night) pass(until time.Time) error {
	for n.Now().Before(until) {
		next := n.Now().Add(n.every)
		if next.After(until) {
			next = until
		}
		n.to(next)
		if err := n.send(decide.Report{}); err != nil {
			return err
		}
	}
	return nil
}
