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
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/timescale"
)

// night is one night under way.
type night struct {
	dir     string      // of testdata
	rigText string      // as the service reads it
	truth   [][2]string // what the mount truly is, where the file does not say so: text of the rig file, and what is so instead
	rig     *rig.Rig
	real    *rig.Rig // what the mount truly is
	mount   *practice.Mount
	camera  *practice.Camera
	rec     *record.Record
	d       *decide.Decider

	mu        sync.Mutex
	now       time.Time
	clock     func(time.Time) question.Clock
	ids       int
	asker     string         // the program that asks
	skew      time.Duration  // its clock, less the true one
	solved    question.Solve // told last, by the true clock
	person    string         // who attends; empty: nobody
	later     bool           // questions ask to begin later
	noSend    bool           // the asker sends no sending time
	permit    string         // the last one, to be named as replaced
	questions int
	uncounted bool   // the counters were lost since the last homing
	sensor    string // of home: works where empty, stuck-on, stuck-off
	guiding   bool   // small corrections go to the axes while the mount tracks
	pulses    int

	every   time.Duration // between samples while time goes by
	samples distortions
	notices []pose.Notice
	told    decide.Outcome // of the last report
	locks   []string       // set by persons

	asked  asked
	answer decide.Answer
}

// asked is the last question, and what the mount does when it is allowed.
type asked struct {
	q     question.Question
	req   decide.Request
	act   question.Action
	do    func()
	how   string // see how
	cut   time.Duration
	alone bool
}

// shelf is what is proven of the rigs of all nights; no answer depends on what was asked before.
var shelf = sync.OnceValue(reach.NewShelf)

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
	n := &night{dir: testdata, every: time.Minute, asker: "night"}
	n.clock = func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} }
	defer func() {
		if n.rec != nil {
			err = errors.Join(err, n.rec.Close())
		}
	}()
	for _, l := range lines {
		if err := n.play(l, recordPath); err != nil {
			return n.questions, fmt.Errorf("%s:%d: %s: %w", file, l.number, l, err)
		}
	}
	return n.questions, n.verify()
}

// verify checks the whole record of the night: its chain, and that every state on it is the fold of what came before.
func (n *night) verify() error {
	if n.rec == nil {
		return nil
	}
	res, err := n.rec.Verify(context.Background(), record.VerifyOptions{Fold: state.NewFold})
	if err != nil {
		return fmt.Errorf("the night's record: %w", err)
	}
	if !res.Whole {
		return fmt.Errorf("the night's record: %s", res.Sentence)
	}
	return nil
}

// play does one line.
func (n *night) play(l line, recordPath string) error {
	if l.clock != "" {
		if n.d == nil {
			return fmt.Errorf("\"start\" must come first")
		}
		if err := n.passTo(l.clock); err != nil || len(l.words) == 0 {
			return err
		}
	}
	a := &arguments{words: l.words[1:]}
	switch l.words[0] {
	case "rig":
		return n.readRig(a)
	case "change":
		return n.change(a)
	case "truly":
		return n.truly(a)
	case "start":
		return n.start(a, recordPath)
	}
	if n.d == nil {
		return fmt.Errorf("\"start\" must come first")
	}
	if verb, ok := n.questionVerbs()[l.words[0]]; ok {
		return verb(a, l.want)
	}
	if len(l.want) > 0 {
		return fmt.Errorf("only questions have an answer: no \"->\" here")
	}
	if verb, ok := n.verbs(recordPath)[l.words[0]]; ok {
		return verb(a)
	}
	return fmt.Errorf("there is no such verb")
}

// questionVerbs are those that want something behind "->".
func (n *night) questionVerbs() map[string]func(*arguments, []word) error {
	return map[string]func(*arguments, []word) error{"ask": n.ask, "again": n.again, "begin": n.begin}
}

func (n *night) verbs(recordPath string) map[string]func(*arguments) error {
	return map[string]func(*arguments) error{
		"expect": n.expect, "wait": n.wait, "mount": n.doMount, "report": n.report, "attended": n.attended, "clock": n.setClock, "asker": n.setAsker,
		"samples": n.setSamples, "questions": n.setQuestions, "guiding": n.setGuiding, "lock": n.lock, "release": n.release, "withdraw": n.withdraw,
		"restart": func(a *arguments) error { return errors.Join(n.restart(recordPath), a.done()) },
	}
}

func (n *night) readRig(a *arguments) error {
	name := a.next()
	if name == "heron" {
		n.rigText = string(practice.HeronFile())
		return a.done()
	}
	b, err := os.ReadFile(filepath.Join(n.dir, "rigs", name))
	n.rigText = string(b)
	return errors.Join(err, a.done())
}

// change replaces text of the rig file: change "a" to "b"; \n stands for a line's end.
func (n *night) change(a *arguments) error {
	from, to := quotedPair(a)
	text, err := replaceOnce(n.rigText, from, to)
	if err != nil {
		return err
	}
	n.rigText = text
	return a.done()
}

// truly says what the mount is in truth where the file has it wrong: text of the file as changed so far, and what is so instead.
func (n *night) truly(a *arguments) error {
	from, to := quotedPair(a)
	n.truth = append(n.truth, [2]string{from, to})
	return a.done()
}

func quotedPair(a *arguments) (from, to string) {
	from = strings.ReplaceAll(a.next(), "\\n", "\n")
	a.take("to")
	return from, strings.ReplaceAll(a.next(), "\\n", "\n")
}

func replaceOnce(text, from, to string) (string, error) {
	if k := strings.Count(text, from); k != 1 || from == "" {
		return "", fmt.Errorf("%q stands %d times in the rig file, want once", from, k)
	}
	return strings.Replace(text, from, to, 1), nil
}

func (n *night) start(a *arguments, recordPath string) error {
	t, err := time.Parse("2006-01-02T15:04Z", a.next())
	if err != nil {
		return err
	}
	n.now = t.UTC()
	if n.rig, err = readRig("rig file", n.rigText); err != nil {
		return err
	}
	text := n.rigText
	for _, r := range n.truth {
		if text, err = replaceOnce(text, r[0], r[1]); err != nil {
			return err
		}
	}
	real, err := readRig("rig file with what is truly so", text)
	if err != nil {
		return err
	}
	n.real = real
	n.mount = practice.NewMount(real, moment, n.now)
	n.camera = practice.NewCamera(n.mount, 1)
	return errors.Join(n.open(recordPath), a.done())
}

func readRig(name, text string) (*rig.Rig, error) {
	r, bad := rig.Parse(name, []byte(text), nil)
	if r == nil {
		return nil, fmt.Errorf("%s: %v", name, bad)
	}
	return r, nil
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
		Record: n.rec, Members: []decide.Member{{Rig: n.rig, Limits: lim, Rules: bound, Shelf: shelf()}}, Moment: moment, Now: n.Now, Cells: 20_000,
		Clock: func(t time.Time) question.Clock { return n.clock(t) }, NewID: n.newID,
		Encode: func(a decide.Answer, _ string) (state.Exchanged, error) {
			return state.Exchanged{Type: "night", Bytes: []byte(describe(a))}, nil
		},
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
