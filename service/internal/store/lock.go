package store

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// lockFile takes the lock beside the record. The kernel drops it with the process, however that ends; the file stays,
// because removing it would let two services lock two files of one name.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path+"-lock", os.O_RDWR|os.O_CREATE|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, &FileError{Class: ErrOpen, Path: path, Doing: "locking the record", Cause: err,
			Remedy: "give the service's user a folder that it may write to"}
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, &FileError{Class: ErrInUse, Path: path, Doing: "locking the record",
				Remedy: "stop the other service, or give this one a record of its own"}
		}
		return nil, &FileError{Class: ErrOpen, Path: path, Doing: "locking the record", Cause: err,
			Remedy: "keep the record on a local file system that knows locks"}
	}
	return f, nil
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
