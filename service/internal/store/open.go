package store

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"modernc.org/sqlite"
)

const (
	// busyMillis bounds the wait for a lock that a backup or a person's shell holds. Common practice, no source: longer
	// than a checkpoint on a slow card, shorter than a client's patience.
	busyMillis = 2000
	// synchronousFull is SQLite's number for "sync the log at every commit". Measured: NORMAL lost all of 30 answered
	// commits at a power cut on ext4 and XFS, FULL none.
	synchronousFull = 2
	// readerCount is how many reads may go on beside the writer. No source: lists and followers are short.
	readerCount = 4
)

// Options change how a store is opened. The zero value is the one to serve with.
type Options struct {
	// Wrap comes between database/sql and the driver; for tests that make it fail.
	Wrap func(driver.Connector) driver.Connector
	// WeakSync uses synchronous NORMAL, and wants no more of a connection. It exists for the canary of the power-cut test alone.
	WeakSync bool
	// ReadOnly opens for verification: no lock, no change to the file.
	ReadOnly bool
}

// Store is one open record file. Safe for concurrent use; Commit calls take turns.
type Store struct {
	given   string // the path that it was opened with
	path    string // of the file itself: Named
	version int    // of the file
	opts    Options
	lock    *os.File // nil when read-only
	itself  *os.File // the record file, locked: see lockItself; nil as above
	watched map[string]os.FileInfo
	content content // of the record file
	reading reading // how the file is read; of no use where it is written
	readers *sql.DB
	writers *sql.DB // nil when read-only
	writer  *writer // nil when read-only
	fresh   fresh
	// requests looks a request id up among those marked: prepared once.
	requests *sql.Stmt
	ready    sync.Map // text → *sql.Stmt of readers, of texts that do not go by what is asked for
}

// Open opens or makes the record file, refuses what it cannot keep safely, and moves what a crash left in the log into
// the database. The caller owns the result and must Close it.
func Open(path string, opts Options) (*Store, error) {
	if err := checkPath(path); err != nil {
		return nil, err
	}
	file, err := Named(path)
	if err != nil {
		return nil, err
	}
	s := &Store{given: path, path: file, opts: opts, watched: map[string]os.FileInfo{}}
	if err := s.open(); err != nil {
		_ = s.Close()
		return nil, err
	}
	return s, nil
}

func checkPath(path string) error {
	if path == "" || strings.HasSuffix(path, string(filepath.Separator)) || strings.Contains(path, "\x00") || strings.HasPrefix(filepath.Base(path), ":") {
		return &FileError{Class: ErrOpen, Path: path, Doing: "opening the record", Remedy: "give the path of a file"}
	}
	if err := Ordinary(path); err != nil {
		return &FileError{Class: ErrOpen, Path: path, Doing: "opening the record", Cause: errNoFile,
			Remedy: "take away what bears that name and is none, or give the path of the record"}
	}
	return nil
}

func (s *Store) open() error {
	if s.opts.ReadOnly {
		return s.openReadOnly()
	}
	// fdatasync leaves out the file's time stamps, which no reader needs, and keeps its size and its data (fdatasync(2)). Where the system
	// has none the driver stays with fsync, which keeps as much and takes longer; that error is no fault.
	_, _ = sqlite.Fdatasync(true)
	if err := refuseNames(s.path); err != nil { // before a lock is made beside one of them
		return err
	}
	var err error
	if s.lock, err = lockFile(s.path); err != nil {
		return err
	}
	before, err := identity(s.path)
	if err != nil {
		return s.openFailure(err)
	}
	if err := writable(s.path, before); err != nil {
		return s.openFailure(err)
	}
	if s.itself, err = lockItself(s.path); err != nil {
		return s.openFailure(err)
	}
	if s.writers, err = s.pool(1, false); err != nil {
		return s.openFailure(err)
	}
	if err := s.prepare(before); err != nil {
		return err
	}
	if s.readers, err = s.pool(readerCount, true); err != nil {
		return s.openFailure(err)
	}
	if s.requests, err = s.readers.PrepareContext(context.Background(), s.hasRequest()); err != nil {
		return s.openFailure(err)
	}
	heads, newest, err := s.Heads(context.Background())
	if err != nil {
		return err
	}
	s.writer, err = newWriter(s.writers, heads, newest)
	if err != nil {
		return s.openFailure(err)
	}
	return nil
}

// prepare brings the file to a known, durable state before anything is served from it.
func (s *Store) prepare(before os.FileInfo) error {
	if err := s.checkVersion(s.writers, true); err != nil {
		return err
	}
	if err := s.moveLog(); err != nil {
		return err
	}
	switch marked, err := s.markLeft(); {
	case err != nil:
		return err
	case marked:
		if err := s.moveLog(); err != nil {
			return err
		}
	}
	if err := s.lengthen(s.writers); err != nil {
		return s.failed(ErrUntidy, "making the log longer", err, "see that the disk has room and is sound, and that no other program locks the record")
	}
	if err := syncFolder(filepath.Dir(s.path)); err != nil {
		return s.openFailure(err)
	}
	after, err := identity(s.path)
	if err != nil || after == nil || (before != nil && !os.SameFile(before, after)) {
		return s.failed(ErrReplaced, "opening the record", err, "see who moves files about in its folder, then start again")
	}
	s.watched[s.path] = after
	if err := s.watchSides(); err != nil {
		return err
	}
	s.watched[s.given] = after // a link to it may be led elsewhere
	return s.noteContent()
}

// moveLog moves all of what a crash left in the log, before anything is written behind it.
func (s *Store) moveLog() error {
	if _, err := checkpoint(s.writers, "TRUNCATE"); err != nil {
		return s.failed(ErrUntidy, "moving the log into the record", err,
			"see that the disk has room and is sound, and close other programs that have the record open")
	}
	return nil
}

// markLeft marks what a crash left without, and tells whether there was any.
func (s *Store) markLeft() (did bool, err error) {
	ctx := context.Background()
	conn, err := s.writers.Conn(ctx)
	if err != nil {
		return false, s.openFailure(err)
	}
	defer func() { _ = conn.Close() }() // back to its pool
	var marked, newest int64
	if err := conn.QueryRowContext(ctx, `SELECT (`+newestMark+`), (`+newestEntry+`)`).Scan(&marked, &newest); err != nil {
		return false, s.readFailure("reading how far entries are marked", err)
	}
	if marked < newest {
		if err := markTable(ctx, conn, marked, newest); err != nil {
			return false, s.markFailure(err)
		}
	}
	s.fresh.forget(newest)
	return marked < newest, nil
}

func (s *Store) openReadOnly() error {
	info, err := os.Stat(s.path)
	if err != nil {
		return s.openFailure(err)
	}
	s.watched[s.path] = info
	if err := s.openReaders(); err != nil {
		return s.openFailure(err)
	}
	if err := s.checkVersion(s.readers, false); err != nil {
		if changed := s.Still(); changed != nil {
			return changed
		}
		return err
	}
	if s.requests, err = s.readers.PrepareContext(context.Background(), s.hasRequest()); err != nil {
		return s.openFailure(err)
	}
	return nil
}

// hasRequest is answered by the index of request ids, which holds none that is empty.
func (s *Store) hasRequest() string {
	return `SELECT sequence FROM ` + s.marks() + ` WHERE request_id = ? AND request_id <> '' ORDER BY sequence LIMIT 1`
}

// Close marks what has no mark, ends the store and gives up the lock. The last connection moves the log into the database.
func (s *Store) Close() error {
	var errs []error
	if w := s.writer; w != nil {
		if w.failed == nil && s.fresh.upTo() < w.newest {
			if err := s.mark(w.newest); !locked(err) { // else the next to open the record does it
				errs = append(errs, err)
			}
		}
		errs = append(errs, w.close())
	}
	if s.requests != nil {
		errs = append(errs, s.requests.Close())
	}
	if s.readers != nil {
		errs = append(errs, s.readers.Close())
	}
	if s.writers != nil {
		errs = append(errs, s.writers.Close())
	}
	errs = append(errs, s.reading.close())
	for _, f := range []*os.File{s.itself, s.lock} {
		if f != nil {
			errs = append(errs, f.Close())
		}
	}
	return errors.Join(errs...)
}

// Path returns the path of the file, without symbolic links.
func (s *Store) Path() string { return s.path }

func (s *Store) failed(class error, doing string, cause error, remedy string) error {
	remedy = byCause(cause, remedy)
	if damaged(cause) {
		remedy = orUnread + "; else " + remedy
	}
	if code(cause) == full {
		remedy = "its disk is full: make room there; nothing is allowed until then"
	}
	if s.opts.ReadOnly && wholeCode(cause) == brokenOff {
		class = ErrUnfinished
		remedy = "what it holds is not known before " + s.path + "-journal, which lies beside it, has been put back into it, and who only reads may not do that: " +
			"remove and rename neither, start the service on the record, which does it, and ask again"
	}
	return &FileError{Class: class, Path: s.path, Doing: doing, Cause: cause, Remedy: remedy}
}

// byCause is what helps against a cause of the system's that no folder, file or leave has to do with; else the remedy given.
func byCause(cause error, remedy string) string {
	switch {
	case errors.Is(cause, syscall.EMFILE), errors.Is(cause, syscall.ENFILE):
		return "too much is open: let the service open more files (ulimit -n), or close connections to it; nothing is allowed until then"
	case errors.Is(cause, syscall.EIO):
		return "see to the disk: the system's log tells what is wrong with it; nothing is allowed until then"
	}
	return remedy
}

func (s *Store) openFailure(cause error) error {
	var known *FileError
	if errors.As(cause, &known) {
		return cause
	}
	if damaged(cause) {
		return s.failed(ErrDamaged, "opening the record", cause, ifDamaged)
	}
	if code(cause) == notADatabase {
		return s.failed(ErrForeign, "opening the record", cause, "give the path of a record; if this was one, "+ifDamaged)
	}
	if s.opts.ReadOnly {
		return s.failed(ErrOpen, "opening the record", cause, "see that the folder exists, and that this user may read the file and what lies beside it; if that is "+
			"forbidden, verify a copy of both the file and its -wal, or ask the service that has it open to verify it (clients/keepclear verify)")
	}
	return s.failed(ErrOpen, "opening the record", cause,
		"see that the folder exists, that the service's user may write to it and to the file, and that the disk has room")
}

// pool makes a pool whose every connection has its settings made and read back before use.
func (s *Store) pool(size int, reading bool) (*sql.DB, error) {
	file := cmp.Or(s.reading.file, s.path)
	base, err := sqlite.NewConnector((&url.URL{Scheme: "file", Opaque: (&url.URL{Path: file}).EscapedPath(), RawQuery: s.reading.query(s.opts.ReadOnly)}).String())
	if err != nil {
		return nil, err
	}
	var con driver.Connector = base
	if s.opts.Wrap != nil {
		con = s.opts.Wrap(con)
	}
	db := sql.OpenDB(&settings{Connector: con, store: s, reading: reading})
	db.SetMaxOpenConns(size)
	db.SetMaxIdleConns(size)
	if err := db.PingContext(context.Background()); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// checkVersion reads the version, refuses what is not ours or newer, and lays an empty file out where it may.
func (s *Store) checkVersion(db *sql.DB, create bool) error {
	var app, version, tables int
	row := db.QueryRow(`SELECT (SELECT application_id FROM pragma_application_id), (SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`)
	if err := row.Scan(&app, &version, &tables); damaged(err) {
		return s.failed(ErrDamaged, "reading the version of the record", err, ifDamaged)
	} else if err != nil {
		return s.failed(ErrRead, "reading the version of the record", err, "see that the disk has room and is sound, and that the file is a record; if they are, restore a copy")
	}
	switch {
	case app == 0 && version == 0 && tables == 0 && create:
		return s.layOut(db)
	case app != applicationID:
		return s.failed(ErrForeign, "opening the record", fmt.Errorf("application id %#x, want %#x", app, applicationID), "give the path of a record, or of no file")
	case version > Version:
		return s.failed(ErrNewer, "opening the record", fmt.Errorf("the file has version %d, this program knows up to %d", version, Version), "use the newer program; nothing was changed")
	case version < 1:
		return s.failed(ErrForeign, "opening the record", fmt.Errorf("version %d was never written by any program", version), "restore a copy")
	case version < Version && create:
		return s.upgrade(db, version)
	}
	s.version = version
	return nil
}

func (s *Store) layOut(db *sql.DB) error {
	return s.change(db, fmt.Sprintf("%s PRAGMA application_id=%d;", schema, applicationID))
}

func (s *Store) upgrade(db *sql.DB, from int) error {
	if err := s.moveLog(); err != nil {
		return err
	}
	how := ""
	for v := from; v < Version; v++ {
		how += upgrades[v]
	}
	return s.change(db, how)
}

// change makes the file one of our version, whole or not at all.
func (s *Store) change(db *sql.DB, how string) error {
	if _, err := db.Exec(fmt.Sprintf("BEGIN IMMEDIATE; %s PRAGMA user_version=%d; COMMIT;", how, Version)); err != nil {
		return s.openFailure(err)
	}
	s.version = Version
	return nil
}
