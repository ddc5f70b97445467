package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"strings"
)

// settings is the connector that trusts no default: drivers differ in what a new or reopened connection starts with, so
// each connection has its settings made and then read back.
type settings struct {
	driver.Connector
	store   *Store
	reading bool
}

// Connect opens one connection and refuses it unless it keeps what it is told.
func (c *settings) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	if err := c.apply(ctx, conn); err != nil {
		_ = conn.Close()
		return nil, err
	}
	return conn, nil
}

// readerCacheKiB is how much of the file each reading connection keeps in memory: what looks ids up comes by the upper pages of one index,
// and who lists reads once. SQLite's own 2,000 for each of them would be more than all else that the record holds.
const readerCacheKiB = 256

// setting is one of them; want is how the connection says that it has it.
type setting struct{ name, value, want string }

func (c *settings) wanted() []setting {
	set := []setting{
		{"busy_timeout", fmt.Sprint(busyMillis), fmt.Sprint(busyMillis)},
		{"trusted_schema", "OFF", "0"}, // a damaged or hostile file runs no functions
		{"cell_size_check", "ON", "1"}, // damage is an error, not a wrong row
		{"mmap_size", "0", "0"},        // an I/O error is an error, not a signal
		{"temp_store", "MEMORY", "2"},
	}
	if c.reading {
		set = append(set, setting{"query_only", "ON", "1"})
	}
	if c.reading && !c.store.opts.ReadOnly { // of a file as a crash left it, this would ask for what only a writer may recover
		cache := fmt.Sprintf("-%d", readerCacheKiB)
		set = append(set, setting{"cache_size", cache, cache})
	}
	if !c.reading {
		level := synchronousFull
		if c.store.opts.WeakSync {
			level = 1
		}
		// The log is moved into the database by Commit itself, so that a failure there is seen.
		set = append(set, setting{"journal_mode", "WAL", "wal"}, setting{"synchronous", fmt.Sprint(level), fmt.Sprint(level)},
			setting{"wal_autocheckpoint", "0", "0"}, setting{"checkpoint_fullfsync", "ON", "1"})
	}
	return set
}

func (c *settings) apply(ctx context.Context, conn driver.Conn) error {
	set := c.wanted()
	for _, s := range set {
		if _, err := ask(ctx, conn, "PRAGMA "+s.name+"="+s.value); err != nil {
			return fmt.Errorf("setting %s to %s: %w", s.name, s.value, err)
		}
	}
	for _, s := range set {
		if err := c.readBack(ctx, conn, s); err != nil {
			return err
		}
	}
	if c.reading {
		return nil
	}
	return c.logged(ctx, conn)
}

func (c *settings) readBack(ctx context.Context, conn driver.Conn, s setting) error {
	got, err := ask(ctx, conn, "PRAGMA "+s.name)
	if err != nil {
		return fmt.Errorf("reading the setting %s back: %w", s.name, err)
	}
	if s.name == "mmap_size" && len(got) == 0 {
		return nil // this disk maps no files, and nobody asks it to
	}
	if len(got) != 1 || got[0] != s.want {
		return c.unsafe(fmt.Errorf("%s is %s, want %s", s.name, strings.Join(got, " "), s.want))
	}
	return nil
}

// logged refuses a connection that has no write-ahead log. The word of journal_mode does not settle it: where the switch could not be written into
// the file, the connection that tried goes on saying "wal" and commits by a rollback journal, of which a power cut may take the last
// commit back. What SQLite knows of its log does: -1 frames where it has none. Asked in this mode it moves nothing.
func (c *settings) logged(ctx context.Context, conn driver.Conn) error {
	if _, err := ask(ctx, conn, "SELECT count(*) FROM sqlite_schema"); err != nil { // the first read opens the log; below, its error would be lost
		return fmt.Errorf("opening the log: %w", err)
	}
	got, err := ask(ctx, conn, "PRAGMA wal_checkpoint(NOOP)")
	if err != nil {
		return fmt.Errorf("looking at the log: %w", err)
	}
	if len(got) != 3 || strings.HasPrefix(got[1], "-") {
		return c.unsafe(fmt.Errorf("journal_mode is not really wal: the log is %q", got))
	}
	return nil
}

func (c *settings) unsafe(cause error) error {
	return c.store.failed(ErrUnsafe, "opening the record", cause, "keep the record on a local file system that lets SQLite use its write-ahead log, and start the service as it was built")
}

// ask runs one statement on a bare connection to its end and returns its first row as text, empty where it has none. SQLite commits what a
// statement did after its last row, so that one which is left before it has not failed yet.
func ask(ctx context.Context, conn driver.Conn, query string) (first []string, err error) {
	q, ok := conn.(driver.QueryerContext)
	if !ok {
		return nil, errors.New("the driver cannot query a bare connection")
	}
	rows, err := q.QueryContext(ctx, query, nil)
	if err != nil {
		return nil, err
	}
	defer func() {
		if late := rows.Close(); err == nil {
			err = late
		}
	}()
	vals := make([]driver.Value, len(rows.Columns()))
	for len(vals) > 0 {
		if err := rows.Next(vals); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
		if first != nil {
			continue
		}
		for _, v := range vals {
			first = append(first, fmt.Sprint(v))
		}
	}
	return first, nil
}
