package store

import (
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"
)

// Classes of failure; FileError carries the place, the cause and the remedy.
var (
	ErrOpen  = errors.New("the record file cannot be opened")
	ErrInUse = errors.New("the record file is in use by another service")
	// ErrNames: the lock and the log beside a file go by its name.
	ErrNames    = errors.New("the record file has more than one name")
	ErrNewer    = errors.New("the record file is from a newer version")
	ErrForeign  = errors.New("the file is no record of this service")
	ErrUnsafe   = errors.New("the record file is not durable as set")
	ErrReplaced = errors.New("the record file was replaced while open")
	ErrNotHead  = errors.New("the row does not follow the head on disk")
	ErrCommit   = errors.New("the rows could not be made durable")
	// ErrUntidy: all rows that were committed are on disk; what follows behind them could not be done.
	ErrUntidy  = errors.New("the record file could not be put in order")
	ErrDamaged = errors.New("the record file is damaged")
	// ErrChanged: what was read of it may be of two states.
	ErrChanged = errors.New("the record file was changed while it was read")
	ErrAbsent  = errors.New("there is no such entry")
	ErrRead    = errors.New("the record file cannot be read")
	// ErrUnfinished: what it holds shows only when a writer has put back what was there before.
	ErrUnfinished = errors.New("a change to the record file was broken off")
)

// FileError says what failed where, and what to do.
type FileError struct {
	Class  error  // one of the sentinels
	Path   string // of the record file
	Doing  string // what was attempted
	Cause  error  // may be nil
	Remedy string
}

// Error puts class, place, cause and remedy into one line.
func (e *FileError) Error() string {
	what := e.Class.Error()
	if e.Cause != nil && strings.Contains(e.Cause.Error(), what) {
		what = e.Cause.Error() // it says the class where it belongs
	} else if e.Cause != nil {
		what += fmt.Sprintf(" (%v)", e.Cause)
	}
	s := fmt.Sprintf("%s: %s: %s", e.Doing, e.Path, what)
	if e.Remedy != "" {
		s += "; " + e.Remedy
	}
	return s
}

// Unwrap gives the class and the cause.
func (e *FileError) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Class}
	}
	return []error{e.Class, e.Cause}
}

// ifDamaged is what to do about a record that was cut short or overwritten.
const ifDamaged = "restore a copy, or keep this one as it is and begin a new record"

// Result codes of SQLite, their low eight bits. Source: its page "Result and Error Codes".
const (
	busy         = 5  // another connection holds the lock
	corrupt      = 11 // the file is malformed
	full         = 13 // the disk is
	notADatabase = 26
)

// taken is SQLite's SQLITE_CONSTRAINT_PRIMARYKEY: there is a row of that sequence. Source: as above.
const taken = 1555

// brokenOff is SQLite's SQLITE_READONLY_ROLLBACK: a rollback journal waits beside the file, and who only reads may not put it back. This store
// has one only while it makes a record, before it turns to the write-ahead log; another program, or an older one of ours, may have left one
// beside a record that holds answers. Source: as above.
const brokenOff = 776

// code is the result code of SQLite in an error; 0: none.
func code(err error) int { return wholeCode(err) & 0xff }

func wholeCode(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code()
}

// orUnread is what else SQLite's "malformed" can mean: it says the same (SQLITE_IOERR_CORRUPTFS becomes SQLITE_CORRUPT in its sqlite3VdbeExec)
// where the disk gave an I/O error as it read, and then the file may be whole.
const orUnread = "an I/O error of the disk as it reads looks the same: look into the system's log first, and if it tells of one, see to the disk and start again"

// locked tells whether another program held a lock for longer than this one waits: nothing was done.
func locked(err error) bool { return code(err) == busy }

// damaged tells whether SQLite found the file itself malformed: a folder's permissions have nothing to do with it.
func damaged(err error) bool { return code(err) == corrupt }

// IsDamaged tells whether an error says that the file is damaged.
func IsDamaged(err error) bool { return errors.Is(err, ErrDamaged) || damaged(err) }
