package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
)

// Named returns the one name of a record file, where a path may be a symbolic link to it: the log, the lock and the heads that lie beside it go by
// its name, and by two names there would be two of each. A link that leads to no file is refused, because what it should lead to (a disk that is
// not mounted, say) may hold the record.
func Named(path string) (string, error) {
	info, err := os.Lstat(path)
	if err != nil || info.Mode()&os.ModeSymlink == 0 {
		return path, nil // what cannot be looked at is told where it is opened
	}
	file, err := filepath.EvalSymlinks(path)
	if err != nil {
		return "", &FileError{Class: ErrOpen, Path: path, Doing: "following the symbolic link", Cause: err,
			Remedy: "see that what the link leads to is there (a disk that is not mounted?), or give the path of the record itself"}
	}
	return file, nil
}

// errNoFile is what is wrong with a path that bears a file's name and is none: to open a pipe would wait for ever.
var errNoFile = errors.New("it is no ordinary file")

// Ordinary returns an error where a path leads to a pipe, a device or the like; not where it leads to nothing, or to a folder, which says so itself.
func Ordinary(path string) error {
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() && !info.IsDir() {
		return fmt.Errorf("%s: %w", path, errNoFile)
	}
	return nil // what cannot be looked at is told where it is opened
}

// ReadOrdinary reads a file whole, and no pipe.
func ReadOrdinary(path string) ([]byte, error) {
	if err := Ordinary(path); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
}

// refuseNames refuses a file that has more than one name: by each of them it would have another log, lock and heads beside it.
func refuseNames(path string) error {
	if n := Names(path); n > 1 {
		return &FileError{Class: ErrNames, Path: path, Doing: "opening the record", Cause: fmt.Errorf("%d hard links", n),
			Remedy: "stop what uses it by another name; `find DIR -samefile " + path + "` lists its names below a folder: take away all but the one " +
				"that has -wal or -heads beside it, and make copies with cp, not with hard links"}
	}
	return nil
}

// Names is how many names (hard links) a file has; 0: none, or it is not known.
func Names(path string) uint64 {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return 0
	}
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Nlink)
	}
	return 0
}

// lockItself takes a lock on the record file itself, made if absent: it holds by whatever other name or mount another service comes. Requires that the lock
// beside it is held. What it returns must stay open until SQLite has closed the file: closing any descriptor of a file drops the locks of fcntl(2)
// that the process holds on it, and SQLite's are such. It does without where flock(2) and fcntl(2) would hinder each other, as on BSD; on Linux
// they do not see each other (flock(2), notes).
func lockItself(path string) (*os.File, error) {
	if runtime.GOOS != "linux" {
		return nil, nil
	}
	f, err := os.OpenFile(path, os.O_RDONLY|os.O_CREATE|syscall.O_CLOEXEC, 0o644) // the mode is SQLite's own
	if err != nil {
		return nil, err
	}
	return f, take(f, path)
}

// lockFile takes the lock beside the record. The kernel drops it with the process, however that ends; the file stays,
// because removing it would let two services lock two files of one name.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path+"-lock", os.O_RDWR|os.O_CREATE|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, &FileError{Class: ErrOpen, Path: path, Doing: "locking the record", Cause: err,
			Remedy: byCause(err, "give the service's user a folder that it may write to")}
	}
	if err := take(f, path); err != nil {
		_ = f.Close()
		return nil, err
	}
	return f, nil
}

// take takes the lock on an open file, or refuses at once.
func take(f *os.File, path string) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	switch {
	case errors.Is(err, syscall.EWOULDBLOCK):
		return &FileError{Class: ErrInUse, Path: path, Doing: "locking the record",
			Remedy: "stop the other service, or give this one a record of its own"}
	case err != nil:
		return &FileError{Class: ErrOpen, Path: path, Doing: "locking the record", Cause: err,
			Remedy: "keep the record on a local file system that knows locks"}
	}
	return nil
}

// identity is which file a path names: nil where there is none.
func identity(path string) (os.FileInfo, error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	return info, err
}

// isStill tells whether a path surely names the file that it did, without what os.Stat makes of it: each commit asks.
func isStill(path string, was os.FileInfo) bool {
	then, ok := was.Sys().(*syscall.Stat_t)
	var now syscall.Stat_t
	return ok && syscall.Stat(path, &now) == nil && now.Dev == then.Dev && now.Ino == then.Ino
}

// writable tells of a file that is there whether it may be written to: SQLite reads one that may not, and then calls its first write an I/O
// error. It opens nothing, because closing a file drops the locks that its process holds on it.
func writable(path string, there os.FileInfo) error {
	const write = 2 // W_OK of access(2)
	if there == nil {
		return nil
	}
	if err := syscall.Access(path, write); err != nil {
		return fmt.Errorf("writing to it: %w", err)
	}
	return nil
}

// syncFolder makes the names in the record's folder durable.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer func() { _ = d.Close() }()
	return d.Sync()
}
