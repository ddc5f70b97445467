package decide_test

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/timescale"
)

// evening is a dark instant at heron's place.
var evening = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

// bench is a decider over a real record, with a clock of its own.
type bench struct {
	alter  func(*rig.Rig)                   // of the rig, at each opening; nil: as in the file
	up     func(time.Time) *question.Uptime // of the machine; nil: not known
	beside []string                         // ids of more rigs of the same kind
	t      *testing.T
	path   string
	rec    *record.Record
	d      *decide.Decider
	rig    *rig.Rig
	ids    atomic.Int64
	disk   *faults.Disk

	retry   chan time.Time // lets a record that is down try again
	refolds atomic.Int64   // how often it came back

	mu     sync.Mutex
	now    time.Time
	room   func(name string) // called as a room is entered; nil: nobody looks
	jumped string            // what the clock says of a jump
	judge  decide.Judge      // replaces the rules; nil: the real ones

	revs    map[string]string                            // beside the rig's own digest; nil: none
	differs func(m decide.Member, of, was string) string // nil: none

	unwritable error // why no answer can be encoded; nil: each can
}

// shared is what every bench needs and never changes: made once, it saves most of the time of these tests.
var shared = sync.OnceValues(func() (decide.Member, error) {
	content, err := os.ReadFile("../practice/heron.yaml")
	if err != nil {
		return decide.Member{}, err
	}
	r, bad := rig.Parse("heron.yaml", content, nil)
	if r == nil {
		return decide.Member{}, fmt.Errorf("%v", bad)
	}
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return decide.Member{}, err
	}
	own := limits.Layer{Name: "rig heron"}
	for name, v := range map[string]float64{"low_deg": -97.5, "high_deg": 97.5} {
		own.Entries = append(own.Entries, limits.Entry{Rule: "travel/axis1", Name: name, Value: v})
	}
	for name, v := range map[string]float64{"low_deg": -180, "high_deg": 180} {
		own.Entries = append(own.Entries, limits.Entry{Rule: "travel/axis2", Name: name, Value: v})
	}
	lim, err := limits.Merge(defs, own)
	if err != nil {
		return decide.Member{}, err
	}
	set, err := rules.Load(policies.Files(), lim)
	return decide.Member{Rig: r, Limits: lim, Rules: set, Shelf: reach.NewShelf(), Revs: map[string]string{"rig": fmt.Sprintf("%x", r.Digest)}}, err
})

func newBench(t *testing.T) *bench {
	t.Helper()
	return newBenchOf(t, nil)
}

// newBenchOf is a bench whose rig was altered.
func newBenchOf(t *testing.T, alter func(*rig.Rig)) *bench {
	t.Helper()
	b := &bench{t: t, path: filepath.Join(t.TempDir(), "record.keepclear"), now: evening, disk: &faults.Disk{}, retry: make(chan time.Time), alter: alter}
	b.open()
	return b
}

// open opens the record and folds it; after a crash or a close it is a restart.
func (b *bench) open() {
	b.t.Helper()
	m, err := shared()
	require.NoError(b.t, err)
	if b.alter != nil {
		r := *m.Rig
		b.alter(&r)
		m.Rig = &r
	}
	b.rig = m.Rig
	m.Revs = maps.Clone(m.Revs)
	maps.Copy(m.Revs, b.revs)
	if b.judge != nil {
		m.Rules = b.judge
	}
	var d *decide.Decider
	rec, err := record.Open(b.path, record.Options{
		State: func(chain string, on record.Head) []byte { return d.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error {
			defer b.refolds.Add(1)
			return d.Refold()
		},
		After: func(time.Duration) <-chan time.Time { return b.retry },
		Store: store.Options{Wrap: b.disk.Wrap},
	})
	require.NoError(b.t, err)
	d, err = decide.New(decide.Parts{
		Record: rec, Members: b.members(m), Moment: func(t time.Time) (*sky.Moment, error) { b.enter("facts"); return moment(t) },
		Now: func() time.Time { b.enter("reply"); return b.clock() }, Cells: 20_000,
		Clock: func(time.Time) question.Clock {
			b.enter("clock")
			b.mu.Lock()
			defer b.mu.Unlock()
			return question.Clock{KernelSynced: true, KernelBoundS: 0.01, Jumped: b.jumped}
		},
		NewID: func() string { return fmt.Sprintf("id-%04d", b.ids.Add(1)) }, Up: b.up, Differs: b.differs,
		Encode: func(a decide.Answer, rig string) (state.Exchanged, error) {
			if b.enter("record"); b.unwritable != nil {
				return state.Exchanged{}, b.unwritable
			}
			return encode(a, rig)
		},
	})
	require.NoError(b.t, err)
	require.NoError(b.t, d.WithdrawAfterRestart())
	b.rec, b.d = rec, d
	b.t.Cleanup(func() { rec.Close() })
}

// members are the rig and those beside it.
func (b *bench) members(m decide.Member) []decide.Member {
	out := []decide.Member{m}
	for _, id := range b.beside {
		r := *m.Rig
		r.ID = id
		other := m
		other.Rig = &r
		out = append(out, other)
	}
	return out
}

// restart is a stop and a start.
func (b *bench) restart() {
	b.t.Helper()
	require.NoError(b.t, b.rec.Close())
	b.open()
}

// encode stands for the wire: JSON of what an asker would see.
func encode(a decide.Answer, _ string) (state.Exchanged, error) {
	body, err := json.Marshal(struct {
		Verdict, Sentence string
		Permit            *question.Permit
	}{string(a.Verdict), a.Sentence, a.Permit})
	return state.Exchanged{Type: "test", Bytes: body}, err
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

func (b *bench) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

// enter tells who looks that a room is entered.
func (b *bench) enter(room string) {
	b.mu.Lock()
	look := b.room
	b.mu.Unlock()
	if look != nil {
		look(room)
	}
}

// onEntering sets who looks as rooms are entered.
func (b *bench) onEntering(look func(room string)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.room = look
}

// monotonic gives the clock a monotonic reading too, as time.Now's has.
func (b *bench) monotonic() *bench {
	b.now = faults.NewClock(time.Now(), b.clock()).Now()
	return b
}

// step sets the wall clock and leaves the monotonic one.
func (b *bench) step(by time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = faults.SetWall(b.now, by)
}

func (b *bench) wait(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = b.now.Add(d)
}

// sample is the rig at rest at a pose, all in order.
func (b *bench) sample(at rig.Axes) *question.Sample {
	m, err := moment(b.clock())
	require.NoError(b.t, err)
	lst := m.SiderealTime(b.rig.Site.Lon)
	ra, dec, side := b.rig.Unmap(rig.MountSky{Sidereal: lst, Lat: b.rig.Site.Lat}, at)
	return &question.Sample{
		Time: b.clock().Round(0), Doing: question.AtRest, Sidereal: &lst, Site: &question.Place{Lat: b.rig.Site.Lat, Lon: b.rig.Site.Lon}, RunMark: "boot-1",
		Belief:   &question.Belief{Sky: question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Side: side},
		Readings: []question.Reading{{Source: rig.MotorCount, Axes: at}},
	}
}

// home homes the rig by sensor.
func (b *bench) home() {
	b.t.Helper()
	out, err := b.report(decide.Report{Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(b.rig.Home)})
	require.NoError(b.t, err)
	require.NotEmpty(b.t, out.HomingID)
}

func (b *bench) report(r decide.Report) (decide.Outcome, error) {
	if r.Rig == "" {
		r.Rig = "heron"
	}
	r.Asker, r.At, r.Sent = "test", b.clock(), b.clock()
	id := fmt.Sprintf("report-%010d", b.ids.Add(1))
	return b.d.Report(context.Background(), r, request(id, id))
}

func request(id, content string) decide.Request {
	return decide.Request{ID: id, Digest: sha256.Sum256([]byte(content)), Sent: state.Exchanged{Type: "test", Bytes: []byte(content)}}
}

// slew asks for a slew by axes from a pose.
func (b *bench) slew(from, to rig.Axes) (decide.Answer, error) {
	return b.ask(question.Action{Kind: question.Slew, Axes: &to}, from, "")
}

func (b *bench) ask(a question.Action, from rig.Axes, replaces string) (decide.Answer, error) {
	id := fmt.Sprintf("question-%08d", b.ids.Add(1))
	return b.askAs(id, id, a, from, replaces)
}

func (b *bench) askAs(id, content string, a question.Action, from rig.Axes, replaces string) (decide.Answer, error) {
	a.Message = []byte(content)
	q := question.Question{ID: id, Rig: "heron", Action: a, Sample: b.sample(from), Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person", Replaces: replaces}
	return b.d.Ask(context.Background(), q, request(id, content))
}
