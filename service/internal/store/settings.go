package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
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

func (c *settings) apply(ctx context.Context, conn driver.Conn) error {
	level := synchronousFull
	if c.store.opts.WeakSync {
		level = 1
	}
	set := []string{
		fmt.Sprintf("PRAGMA busy_timeout=%d", busyMillis),
		"PRAGMA trusted_schema=OFF", // a damaged or hostile file runs no functions
		"PRAGMA cell_size_check=ON", // damage is an error, not a wrong row
		"PRAGMA mmap_size=0",        // an I/O error is an error, not a signal
		"PRAGMA temp_store=MEMORY",
	}
	if c.reading {
		set = append(set, "PRAGMA query_only=ON")
	}
	if c.reading && !c.store.opts.ReadOnly { // of a file as a crash left it, this would ask for what only a writer may recover
		set = append(set, fmt.Sprintf("PRAGMA cache_size=-%d", readerCacheKiB))
	}
	if !c.reading {
		// The log is moved into the database by Commit itself, so that a failure there is seen.
		set = append(set, "PRAGMA journal_mode=WAL", fmt.Sprintf("PRAGMA synchronous=%d", level), "PRAGMA wal_autocheckpoint=0", "PRAGMA checkpoint_fullfsync=ON")
	}
	for _, q := range set {
		if _, err := ask(ctx, conn, q); err != nil {
			return fmt.Errorf("setting %q: %w", q, err)
		}
	}
	if c.reading {
		return nil
	}
	return c.readBack(ctx, conn)
}

func (c *settings) readBack(ctx context.Context, conn driver.Conn) error {
	for name, want := range map[string]string{"journal_mode": "wal", "synchronous": fmt.Sprint(synchronousFull)} {
		got, err := ask(ctx, conn, "PRAGMA "+name)
		if err != nil {
			return fmt.Errorf("reading the setting %s back: %w", name, err)
		}
		if got != want && !c.store.opts.WeakSync {
			return c.store.failed(ErrUnsafe, "opening the record", fmt.Errorf("%s is %s, want %s", name, got, want),
				"keep the record on a local file system that lets SQLite use its write-ahead log")
		}
	}
	return nil
}

// ask runs one statement on a bare connection and returns its first value as text, empty where it has none.
func ask(ctx context.Context, conn driver.Conn, query string) (string, error) {
	q, ok := conn.(driver.QueryerContext)
	if !ok {
		return "", fmt.Errorf("the driver cannot query a bare connection")
	}
	rows, err := q.QueryContext(ctx, query, nil)
	if err != nil {
		return "", err
	}
	defer func() { _ = rows.Close() }()
	if len(rows.Columns()) == 0 {
		return "", nil
	}
	vals := make([]driver.Value, len(rows.Columns()))
	if err := rows.Next(vals); errors.Is(err, io.EOF) {
		return "", nil
	} else if err != nil {
		return "", err
	}
	return fmt.Sprint(vals[0]), nil
}
