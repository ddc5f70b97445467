package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Counts are how many rows each table holds, for a checker that has read them all through the entries.
type Counts struct{ Entries, Marks, Leaves, Rules uint64 }

// Count counts the entries up to a sequence, and what marks those up to another.
func (s *Store) Count(ctx context.Context, newest, marked int64) (Counts, error) {
	var c Counts
	err := s.readers.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM entry NOT INDEXED WHERE sequence <= ?1), (SELECT count(*) FROM `+s.marks()+` NOT INDEXED WHERE sequence <= ?2),
 (SELECT count(*) FROM leave WHERE sequence <= ?2), (SELECT count(*) FROM rule WHERE sequence <= ?2)`, newest, marked).
		Scan(&c.Entries, &c.Marks, &c.Leaves, &c.Rules)
	return c, s.readFailure("counting", err)
}

// Indexed tells whether the tables beside the entries, or the entry itself while it has no mark, lead from each id to the row, and from a request id to no
// other row that has its mark.
func (s *Store) Indexed(ctx context.Context, marked int64, r Row) (bool, error) {
	if r.Sequence > marked {
		if fit, err := s.listsFit(ctx, r); !fit || err != nil {
			return false, err
		}
		return s.counted(ctx, r, 0, query{`SELECT count(*) FROM ` + s.marks() + ` WHERE request_id = ? AND request_id <> '' AND sequence <= ?`, []any{r.RequestID, marked}})
	}
	queries := []query{{`SELECT count(*) FROM ` + s.marks() + ` WHERE sequence = ? AND chain = ? AND number = ? AND time_ns = ? AND rig = ? AND request_id = ? AND state = ?`,
		[]any{r.Sequence, r.Chain, int64(r.Number), r.TimeNanos, r.Rig, r.RequestID, r.State}}}
	if r.RequestID != "" {
		queries = append(queries, query{`SELECT count(*) FROM ` + s.marks() + ` WHERE request_id = ? AND request_id <> ''`, []any{r.RequestID}})
	}
	for _, id := range r.LeaveIDs {
		queries = append(queries, query{`SELECT count(*) FROM leave WHERE leave_id = ? AND sequence = ?`, []any{id, r.Sequence}})
	}
	for _, id := range r.RuleIDs {
		queries = append(queries, query{`SELECT count(*) FROM rule WHERE rule_id = ? AND sequence = ?`, []any{id, r.Sequence}})
	}
	return s.counted(ctx, r, 1, queries...)
}

// query is one that counts.
type query struct {
	text string
	args []any
}

// counted tells whether each query counts as many.
func (s *Store) counted(ctx context.Context, r Row, want int, queries ...query) (bool, error) {
	for _, q := range queries {
		var n int
		if err := s.readers.QueryRowContext(ctx, q.text, q.args...).Scan(&n); err != nil || n != want {
			return false, s.readFailure(fmt.Sprintf("looking up what leads to row %d", r.Sequence), err)
		}
	}
	return true, nil
}

// listsFit tells whether a row that has no mark yet says the ids by which it is found.
func (s *Store) listsFit(ctx context.Context, r Row) (bool, error) {
	var leaves, rules string
	err := s.readers.QueryRowContext(ctx, `SELECT leave_ids, rule_ids FROM entry WHERE sequence = ?`, r.Sequence).Scan(&leaves, &rules)
	if err != nil {
		return false, s.readFailure(fmt.Sprintf("reading the ids of row %d", r.Sequence), err)
	}
	for _, l := range []struct {
		column string
		want   []string
	}{{leaves, r.LeaveIDs}, {rules, r.RuleIDs}} {
		var got []string
		if json.Unmarshal([]byte(l.column), &got) != nil || !slices.Equal(got, l.want) {
			return false, nil
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
