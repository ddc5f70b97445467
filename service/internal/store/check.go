package store

import (
	"context"
	"errors"
	"strings"
)

// Counts are how many rows each table holds, for a checker that has read them all through the entries.
type Counts struct{ Entries, Leaves, Rules uint64 }

// Count counts the rows of each table up to a sequence.
func (s *Store) Count(ctx context.Context, newest int64) (Counts, error) {
	var c Counts
	err := s.readers.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM entry NOT INDEXED WHERE sequence <= ?1),
 (SELECT count(*) FROM leave WHERE sequence <= ?1), (SELECT count(*) FROM rule WHERE sequence <= ?1)`, newest).
		Scan(&c.Entries, &c.Leaves, &c.Rules)
	return c, s.readFailure("counting", err)
}

// Indexed tells whether the tables beside the entries lead from each id to the row.
func (s *Store) Indexed(ctx context.Context, sequence int64, leaves, rules []string) (bool, error) {
	for _, t := range []struct {
		query string
		ids   []string
	}{
		{`SELECT count(*) FROM leave WHERE leave_id = ? AND sequence = ?`, leaves},
		{`SELECT count(*) FROM rule WHERE rule_id = ? AND sequence = ?`, rules},
	} {
		for _, id := range t.ids {
			var n int
			if err := s.readers.QueryRowContext(ctx, t.query, id, sequence).Scan(&n); err != nil || n != 1 {
				return false, s.readFailure("looking "+id+" up", err)
			}
		}
	}
	return true, nil
}

// Check has the database look at its own pages and indexes. It reads the whole file.
func (s *Store) Check(ctx context.Context) error {
	rows, err := s.readers.QueryContext(ctx, `PRAGMA integrity_check(3)`)
	if err != nil {
		return s.readFailure("checking the pages", err)
	}
	defer func() { _ = rows.Close() }()
	var found []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return s.readFailure("checking the pages", err)
		}
		found = append(found, strings.ReplaceAll(line, "\n", " "))
	}
	if err := rows.Err(); err != nil {
		return s.readFailure("checking the pages", err)
	}
	if len(found) == 1 && found[0] == "ok" {
		return nil
	}
	return s.failed(ErrDamaged, "checking the pages", errors.New(strings.Join(found, "; ")), ifDamaged)
}
