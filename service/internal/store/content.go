package store

import (
	"encoding/binary"
	"errors"
	"io"
	"time"
)

// content is what the record file held when it was last looked at.
type content struct {
	size  int64 // bytes
	dated time.Time
	// What its header says: how many pages it has, and how often one of a few things changed, each of which only grows. Source: SQLite's page "Database
	// File Format", 1.3.7 and 1.3.8.
	pages, changes uint32
}

// noteContent notes what the record file holds.
func (s *Store) noteContent() error {
	if s.itself == nil { // not on this system
		return nil
	}
	info, err := s.itself.Stat()
	var head [100]byte
	if err == nil { // by the descriptor that is open: closing another would drop SQLite's locks
		_, err = s.itself.ReadAt(head[:], 0)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return s.failed(ErrReplaced, "looking at "+s.path, err, "see that the disk is sound")
	}
	s.content = content{info.Size(), info.ModTime(), binary.BigEndian.Uint32(head[28:]), binary.BigEndian.Uint32(head[24:])}
	return nil
}

// checkContent notices that an older copy was written over the record file where it lies (with cp, say): what is committed then cannot be read again
// beside what is there. Requires the writer's lock. What another program moves into it of the log makes it longer, never shorter. Of a copy that is
// as long and says of itself that as much was changed it notices nothing; the chain does, at the next start.
func (s *Store) checkContent() error {
	if s.itself == nil {
		return nil
	}
	if info, err := s.itself.Stat(); err == nil && info.Size() == s.content.size && info.ModTime().Equal(s.content.dated) {
		return nil
	}
	was := s.content
	if err := s.noteContent(); err != nil {
		return err
	}
	if now := s.content; now.size < was.size || now.pages < was.pages || now.changes < was.changes {
		s.content = was // it stays so for whoever asks again
		return s.failed(ErrReplaced, "looking at "+s.path, errors.New("an older copy was written over it"), "put back what was there; until then nothing is allowed")
	}
	return nil
}
