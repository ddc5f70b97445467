package store

import (
	"encoding/binary"
	"io"
	"os"
)

// IsCurrent tells whether a file says of itself that it is a record of this version, so that to open it makes nothing of it that an older program could
// not read. Requires that this process does not have it open: closing it here would drop its locks.
func IsCurrent(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer func() { _ = f.Close() }()
	var head [100]byte // Source: SQLite's page "Database File Format", 1.3
	_, err = io.ReadFull(f, head[:])
	return err == nil && binary.BigEndian.Uint32(head[60:]) == Version && binary.BigEndian.Uint32(head[68:]) == applicationID
}
