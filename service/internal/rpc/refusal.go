package rpc

import (
	"cmp"
	"fmt"
	"slices"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/wire"
)

// mostMissed bounds the askers of whom a lost report is remembered by name; those beyond are remembered as one for each rig. Common practice, no
// source: a site has a handful.
const mostMissed = 1000

// asker of a rig.
type asker struct{ rig, name string }

// whileDown begins why a report was lost that the record could not take.
const whileDown = "it was lost while the record was down: "

// lost is a report that was neither taken in nor put on record: what it meant is unknown.
type lost struct {
	why  string
	at   time.Time
	sent state.Exchanged
}

// missed holds reports that came to nothing: while the record was down, mostly. They hold their rig as a refused report does, from the first moment at
// which the record takes anything again.
type missed struct {
	turn chan struct{} // holds one: held by who puts them on record, over the waits for the disk; no mutex, for a night in a bubble would stand still
	mu   sync.Mutex    // of the map, held over no wait: who loses a report meanwhile is not kept waiting
	all  map[asker]*lost
}

// of lists the askers with a lost report, in the order of their names: the same losses make the same record.
func (m *missed) of(which func(asker) bool) []asker {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []asker
	for a := range m.all {
		if which(a) {
			out = append(out, a)
		}
	}
	slices.SortFunc(out, func(a, b asker) int { return cmp.Or(cmp.Compare(a.rig, b.rig), cmp.Compare(a.name, b.name)) })
	return out
}

// get returns what an asker lost last; nil: nothing.
func (m *missed) get(a asker) *lost {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.all[a]
}

// forget forgets a loss that is on record now, unless the asker has lost another since.
func (m *missed) forget(a asker, l *lost) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.all[a] == l {
		delete(m.all, a)
	}
}

// recorded tells whether a request of this kind belongs on record even where nothing came of it; reading does not.
func recorded(msg proto.Message) (yes, report bool) {
	switch msg.(type) {
	case *pb.ReportRequest:
		return true, true
	case *pb.AskRequest, *pb.LockRequest, *pb.ReleaseRequest, *pb.RehearseRequest:
		return true, false
	}
	return false, false
}

// noteRefusal puts a request that was not answered on record. Where the record is down the reply stands alone, but that a report
// was lost is remembered.
func (s *Server) noteRefusal(msg proto.Message, raw []byte, why string, at time.Time) {
	yes, report := recorded(msg)
	if !yes {
		return
	}
	defer func() {
		if p := recover(); p != nil { // whatever broke, the asker still gets an error
			s.log.Error("panic while recording a refusal", "what", wire.OneLine(fmt.Sprint(p)))
		}
	}()
	who := wire.Glimpse(raw, msg.ProtoReflect().Descriptor())
	if err := s.decider.Refuse(who.Rig, who.Asker, wire.OneLine(why), report, at, digestOf(msg, raw), kept(msg, raw)); err != nil {
		s.log.Error("a refusal was not recorded", "why", err)
		s.remember(msg, raw, whileDown+why, at)
	}
}

// remember notes that a report was lost.
func (s *Server) remember(msg proto.Message, raw []byte, why string, at time.Time) {
	if _, report := recorded(msg); !report {
		return
	}
	who := wire.Glimpse(raw, msg.ProtoReflect().Descriptor())
	s.missed.mu.Lock()
	defer s.missed.mu.Unlock()
	a := asker{who.Rig, who.Asker}
	if _, listed := s.missed.all[a]; !listed && len(s.missed.all) >= mostMissed {
		if _, err := s.decider.Member(a.rig); err != nil {
			return // of a rig that is not served here, it holds none
		}
		a.name = decide.Others
	}
	s.missed.all[a] = &lost{wire.OneLine(why), at, kept(msg, raw)}
}

// kept is what the record keeps of a refused request: nothing of one that is too large, whose sentence says so.
func kept(msg proto.Message, raw []byte) state.Exchanged {
	if len(raw) > wire.MaxBytes(msg.ProtoReflect().Descriptor()) {
		raw = nil
	}
	return exchanged(msg, raw)
}

// makeUp records the reports that a rig lost before anything else is asked or told of it. An error: it cannot yet.
func (s *Server) makeUp(msg proto.Message) error {
	var rig string
	switch m := msg.(type) {
	case *pb.AskRequest:
		rig = m.GetRig()
	case *pb.ReportRequest:
		rig = m.GetRig()
	default:
		return nil
	}
	return s.makeUpFor(func(a asker) bool { return a.rig == rig })
}

// makeUpFor records the lost reports of those askers.
func (s *Server) makeUpFor(which func(asker) bool) error {
	if len(s.missed.of(which)) == 0 {
		return nil
	}
	s.missed.turn <- struct{}{}
	defer func() { <-s.missed.turn }()
	for _, a := range s.missed.of(which) { // anew: whoever had the turn before may have recorded some
		l := s.missed.get(a)
		if err := s.decider.Refuse(a.rig, a.name, l.why, true, l.at, digestOf(&pb.ReportRequest{}, l.sent.Bytes), l.sent); err != nil {
			return err
		}
		s.missed.forget(a, l)
	}
	return nil
}
