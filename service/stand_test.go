package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// Bounds of the waits of a stand; none of them is measured.
const (
	callTime    = 30 * time.Second
	stopTime    = 2 * time.Second // within which stopping must be answered, whatever the disk does
	recoverTime = 90 * time.Second
)

// built is the service's program, built once for a test.
func built(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "service")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return path
}

// stand is one record with the process that serves it, and what its askers know.
type stand struct {
	t            testing.TB
	binary, path string
	rigs         string
	rig          *rig.Rig
	rules        []string

	history
	clients
	cmd    *exec.Cmd
	conn   *grpc.ClientConn
	out    *text
	dead   chan struct{}   // closed once the process has ended
	by     []faults.Tamper // the faults that are being made
	isAway bool            // the rig stands away from the pole
}

// newStand is a stand without a record yet. An empty binary is this test's own, which turns into the service.
func newStand(t testing.TB, binary, rigs string) *stand {
	return &stand{t: t, binary: binary, rigs: rigs, rig: heron(t), path: filepath.Join(t.TempDir(), "record.keepclear")}
}

// copied is a stand over a copy of another's record as its dead process left it, whose askers know the same.
func (s *stand) copied(t testing.TB) *stand {
	t.Helper()
	c := newStand(t, s.binary, s.rigs)
	c.isAway, c.rules, c.calls, c.life = s.isAway, s.rules, s.all(), s.life
	for _, side := range []string{"", "-wal", "-journal", "-heads"} {
		content, err := os.ReadFile(s.path + side)
		if os.IsNotExist(err) {
			continue
		}
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(c.path+side, content, 0o600))
	}
	return c
}

// files are those that the record is made of, and the folder that holds them.
func (s *stand) files() []string {
	return []string{s.path, s.path + "-wal", s.path + "-shm", s.path + "-journal", s.path + "-lock", s.path + "-heads", s.path + "-heads.new", filepath.Dir(s.path)}
}

// launch starts the process, behind strace where a wrapping is given; it does not wait until it answers.
func (s *stand) launch(wrap ...string) {
	s.t.Helper()
	binary := s.binary
	if binary == "" {
		binary = os.Args[0]
	}
	args := append(wrap, binary, "serve", "--rigs", s.rigs, "--record", s.path, "--listen", "127.0.0.1:0", "--clock-within", "1")
	s.out, s.dead = &text{}, make(chan struct{})
	s.life++
	s.cmd = exec.Command(args[0], args[1:]...)
	s.cmd.Env = append(os.Environ(), childMark+"=1")
	s.cmd.Stdout, s.cmd.Stderr = s.out, s.out
	require.NoError(s.t, s.cmd.Start())
	cmd, dead := s.cmd, s.dead
	go func() { _ = cmd.Wait(); close(dead) }()
	s.t.Cleanup(func() { _ = cmd.Process.Kill(); <-dead })
}

// answers waits until the process answers; false: it ended before it did.
func (s *stand) answers() bool {
	s.t.Helper()
	for until := time.Now().Add(callTime); time.Now().Before(until); time.Sleep(2 * time.Millisecond) {
		if m := answersOn.FindStringSubmatch(s.out.String()); m != nil {
			conn := connect(s.t, m[1])
			s.t.Cleanup(func() { _ = conn.Close() })
			s.conn = conn
			s.clients = newClients(s.conn)
			return true
		}
		select {
		case <-s.dead:
			if !answersOn.MatchString(s.out.String()) {
				return false
			}
		default:
		}
	}
	require.Fail(s.t, "the service neither answers nor ends", "%s", s.out)
	return false
}

// start starts the process with nothing wrong.
func (s *stand) start() {
	s.t.Helper()
	s.launch()
	require.True(s.t, s.answers(), "no service: %s", s.out)
	if s.rules != nil {
		return
	}
	r, err := s.clients.rules.ListRules(s.t.Context(), &pb.ListRulesRequest{Rig: "heron"})
	require.NoError(s.t, err)
	for _, one := range r.GetRules() {
		if id := one.GetRuleId(); strings.Contains(id, "/") { // the others are names of limits that Go reads
			s.rules = append(s.rules, id)
		}
	}
}

// kill ends the process as a power switch would.
func (s *stand) kill() {
	_ = s.cmd.Process.Kill()
	<-s.dead
	if s.conn != nil {
		_ = s.conn.Close()
		s.conn = nil
	}
}

func (s *stand) alive() bool {
	select {
	case <-s.dead:
		return false
	default:
		return true
	}
}

// call sends a request and keeps what came of it.
func (s *stand) call(m proto.Message) (proto.Message, error) {
	ctx, cancel := context.WithTimeout(context.Background(), callTime)
	defer cancel()
	sent := time.Now()
	reply, err := s.send(ctx, m)
	h := s.heard(m, reply, err)
	h.at = sent
	s.add(h)
	return reply, err
}

// heard is a call with what the asker knows of it. An error that is not the service's own is a process that died.
func (s *stand) heard(m, reply proto.Message, err error) heard {
	h := heard{request: m, reply: reply, err: err, at: time.Now(), under: s.by != nil}
	for _, one := range s.by {
		h.names = append(h.names, wordsOf(one)...)
	}
	if err != nil && len(status.Convert(err).Details()) == 0 {
		select {
		case <-s.dead:
			h.died = true
		case <-time.After(stopTime):
		}
	}
	return h
}

// must sends a request that nothing keeps from being answered.
func (s *stand) must(m proto.Message) proto.Message {
	s.t.Helper()
	reply, err := s.call(m)
	require.NoError(s.t, err, "%s", m)
	return reply
}

// withdraw stops the rig under the fault; false: the process is dead.
func (s *stand) withdraw() bool {
	if !s.alive() {
		return false
	}
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	m := &pb.WithdrawRequest{Rig: "heron", Asker: "M. Tester", Reason: "stop"}
	reply, err := s.send(ctx, m)
	h := s.heard(m, reply, err)
	h.stop = !h.died
	s.add(h)
	return h.stop
}

// recovers asks until there is an answer, or the process is dead: the fault is gone, or goes as it is met, and nobody restarts the service. Between
// two tries it does what is given; nil: nothing.
func (s *stand) recovers(between func()) {
	s.t.Helper()
	var err error
	for until := time.Now().Add(recoverTime); s.alive() && time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		if _, err = s.call(turn(s.t, s.rig, 6, 6)); err == nil {
			return
		}
		if between != nil {
			between()
		}
	}
	if s.alive() {
		require.Fail(s.t, "the service does not come back by itself", "%v\n%s", err, s.out)
	}
}

// verify verifies the record file as it lies there, with the receipts of all that was answered.
func (s *stand) verify(calls []heard) record.Result {
	s.t.Helper()
	if _, err := os.Stat(s.path); os.IsNotExist(err) && len(receipts(calls)) == 0 {
		return record.Result{Whole: true, Sentence: "there is no record yet"}
	}
	res, err := record.VerifyFile(s.t.Context(), s.path, record.VerifyOptions{Fold: state.NewFold, Receipts: receipts(calls)}, store.Options{})
	if (errors.Is(err, store.ErrForeign) || errors.Is(err, store.ErrUnfinished)) && len(receipts(calls)) == 0 {
		return record.Result{Whole: true, Sentence: "the record was not laid out yet"}
	}
	if err != nil {
		return record.Result{Sentence: "nothing was verified: " + err.Error()}
	}
	return res
}

// entry looks a request up in the record; nil: it is not there.
func (s *stand) entry(id string) *pb.Entry {
	s.t.Helper()
	e, err := s.records.GetEntry(s.t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_RequestId{RequestId: id}})
	if status.Code(err) == codes.NotFound {
		return nil
	}
	require.NoError(s.t, err)
	return e.GetEntry()
}

// gather kills the process, starts it again with nothing wrong, and takes down what is found.
func (s *stand) gather() *evidence { return s.gatherOf(nil) }

// gatherOf is the same, and looks up and asks again only the requests of these ids; nil: all.
func (s *stand) gatherOf(ids map[string]bool) *evidence {
	s.t.Helper()
	s.kill()
	s.by = nil
	e := &evidence{calls: s.all(), ids: ids, entries: map[string]*pb.Entry{}}
	e.crashed = s.verify(e.calls)
	s.start()
	e.rules = s.rules
	got, err := s.clients.rigs.GetRig(s.t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(s.t, err)
	e.rig = got.GetRig()
	for _, c := range e.calls {
		if id := requestID(c.request); id != "" && (ids == nil || ids[id]) {
			if found := s.entry(id); found != nil {
				e.entries[id] = found
			}
		}
	}
	for _, c := range e.calls {
		if id := requestID(c.request); id != "" && (ids == nil || ids[id]) {
			_, _ = s.call(c.request)
		}
	}
	e.again = s.all()[len(e.calls):]
	s.kill()
	e.whole = s.verify(s.all())
	return e
}

// wordsOf are those of which a refusal must say one under a fault; nil: any will do, for the process is dead or merely slow. SQLite keeps no
// errno: it calls every failed sync (1034) and every failure to lengthen the log's index (4874) an I/O error, and a full disk there too.
func wordsOf(by faults.Tamper) []string {
	switch {
	case strings.Contains(by.How, "ENOSPC"):
		return []string{"full", "no space", "I/O error (1034)", "I/O error (4874)"}
	case strings.Contains(by.How, "EIO"):
		return []string{"I/O", "input/output"}
	case strings.Contains(by.How, "EMFILE"):
		return []string{"too many open files", "unable to open"}
	}
	return nil
}
