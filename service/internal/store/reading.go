package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// How a record that is only read is opened. SQLite reads one through the log and its index, and makes what of them is not there: beside evidence, or on a
// disk that cannot be written, it should or can not. So
//
//	with an index      somebody has it open, or it was killed: as SQLite does, which alone is safe beside a service that writes
//	without, no log    it was closed: as a file that does not change. Nothing is made beside it, and Still tells afterwards whether that was so
//	without, a log     a copy that somebody took, or a disk that is mounted to be read: a copy of both is read, in a folder for temporary files
//
// The first falls back on the others where it is not permitted. A rollback journal is SQLite's own business in any case.
type reading struct {
	file   string                 // that is opened; empty: the record itself
	folder string                 // of a copy, removed at the end; empty: there is none
	found  map[string]os.FileInfo // what there was at first, where it must not change
}

// besides are what may lie beside a record and matter to who reads it, with the record itself.
var besides = [...]string{"", "-wal", "-shm", "-journal"}

// files looks at the record and what lies beside it: nil where there is none.
func (s *Store) files() (map[string]os.FileInfo, error) {
	out := map[string]os.FileInfo{}
	for _, side := range besides {
		info, err := identity(s.path + side)
		if err != nil {
			return nil, err
		}
		out[side] = info
	}
	return out, nil
}

// filled tells whether there is something in a file.
func filled(info os.FileInfo) bool { return info != nil && info.Size() > 0 }

// openReaders opens the connections of a record that is only read.
func (s *Store) openReaders() (err error) {
	found, err := s.files()
	if err != nil {
		return err
	}
	if filled(found["-journal"]) || found["-shm"] != nil {
		if s.readers, err = s.pool(readerCount, true); err == nil || !unpermitted(err) {
			return err
		}
	}
	s.reading.found = found
	if filled(found["-wal"]) {
		if err := s.copy(); err != nil {
			return err
		}
	}
	s.readers, err = s.pool(readerCount, true)
	return err
}

// unpermitted tells whether SQLite may not write what it needs to read.
func unpermitted(err error) bool {
	const notPermitted, readOnly, cannotOpen = 3, 8, 14 // Source: as the result codes of errors.go
	c := code(err)
	return c == notPermitted || c == cannotOpen || c == readOnly && wholeCode(err) != brokenOff
}

// query is how SQLite is to open the file.
func (r *reading) query(readOnly bool) string {
	switch {
	case !readOnly:
		return "mode=rwc"
	case r.found != nil && r.folder == "":
		return "mode=ro&immutable=1"
	}
	return "mode=ro"
}

// copy copies the record and its log into a folder of its own. Requires s.reading.found.
func (s *Store) copy() (err error) {
	if s.reading.folder, err = os.MkdirTemp("", "keepclear-verify-"); err == nil {
		s.reading.file = filepath.Join(s.reading.folder, "record")
		err = errors.Join(copyFile(s.path, s.reading.file), copyFile(s.path+"-wal", s.reading.file+"-wal"))
	}
	if err != nil {
		room := s.reading.found[""].Size() + s.reading.found["-wal"].Size()
		return &FileError{Class: ErrOpen, Path: s.path, Doing: "copying the record, to read it where its log can be opened", Cause: err,
			Remedy: fmt.Sprintf("see that this user may read it and its -wal, and name a folder with room for %d bytes in TMPDIR", room)}
	}
	err = s.Still()
	s.reading.found = nil // what becomes of them now does not matter
	return err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// Still returns an error where the file was opened as one that does not change, and something did, it or what lies beside it: what was read since is
// worth nothing then.
func (s *Store) Still() error {
	if s.reading.found == nil {
		return nil
	}
	now, err := s.files()
	if err != nil {
		return s.openFailure(err)
	}
	for side, was := range s.reading.found {
		is := now[side]
		if was == nil && is == nil || was != nil && is != nil && os.SameFile(was, is) && was.Size() == is.Size() && was.ModTime().Equal(is.ModTime()) {
			continue
		}
		return &FileError{Class: ErrChanged, Path: s.path + side, Doing: "reading the record", Remedy: "a service began to use it: verify it again"}
	}
	return nil
}

// close removes the copy.
func (r *reading) close() error {
	if r.folder == "" {
		return nil
	}
	return os.RemoveAll(r.folder)
}
