package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"
)

// columns of a row, in the order that scan reads them, less the body. The lists of ids are in the head.
const columns = `sequence, chain, number, time_ns, kind, rig, asker, request_id, verdict, state, previous, hash, head`

// bodyColumns are what unpack makes a body of. Requires an open file.
func (s *Store) bodyColumns() string {
	if s.version < 2 {
		return `, body, 0` // opened to read only, as an older program left it
	}
	return `, body, packing`
}

// Get returns one row by its place.
func (s *Store) Get(ctx context.Context, chain string, number uint64) (Row, error) {
	return s.one(ctx, fmt.Sprintf("entry %d of chain %q", number, chain), `chain = ? AND number = ?`, chain, int64(number))
}

// ByRequest returns the row of a request id.
func (s *Store) ByRequest(ctx context.Context, id string) (Row, error) {
	return s.one(ctx, fmt.Sprintf("request id %q", id), `request_id = ? AND request_id <> ''`, id)
}

// HasRequest tells whether a row has a request id, from the index alone.
func (s *Store) HasRequest(ctx context.Context, id string) (bool, error) {
	var n int64
	err := s.requests.QueryRowContext(ctx, id).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, s.readFailure(fmt.Sprintf("looking for request id %q", id), err)
}

// RequestIDs returns up to limit request ids that come after one in byte order, in that order, from the index alone.
func (s *Store) RequestIDs(ctx context.Context, after string, limit int) ([]string, error) {
	const what = "reading request ids"
	rows, err := s.readers.QueryContext(ctx, `SELECT request_id FROM entry WHERE request_id > ? AND request_id <> '' ORDER BY request_id LIMIT ?`, after, limit)
	if err != nil {
		return nil, s.readFailure(what, err)
	}
	defer rows.Close()
	out := make([]string, 0, limit)
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, s.readFailure(what, err)
		}
		out = append(out, id)
	}
	return out, s.readFailure(what, rows.Err())
}

// ByLeave returns the row that made a permit, sync leave or lock.
func (s *Store) ByLeave(ctx context.Context, id string) (Row, error) {
	return s.one(ctx, fmt.Sprintf("leave id %q", id), `sequence = (SELECT min(sequence) FROM leave WHERE leave_id = ?)`, id)
}

func (s *Store) one(ctx context.Context, what, where string, args ...any) (Row, error) {
	row, err := scan(s.readers.QueryRowContext(ctx, `SELECT `+columns+s.bodyColumns()+` FROM entry WHERE `+where, args...), true)
	if errors.Is(err, sql.ErrNoRows) {
		return Row{}, fmt.Errorf("%s: %w", what, ErrAbsent)
	}
	return row, s.readFailure("reading "+what, err)
}

// Run returns up to limit rows of a chain from a number on, whole, ascending.
func (s *Store) Run(ctx context.Context, chain string, from uint64, limit int) iter.Seq2[Row, error] {
	return s.many(ctx, true, `chain = ? AND number >= ? ORDER BY number LIMIT ?`, chain, int64(from), limit)
}

// Page says which of the rows that fit, by sequence.
type Page struct {
	Above       int64 // beyond this sequence; 0: from the first
	Below       int64 // before this sequence; 0: to the newest
	OldestFirst bool
	Bodies      bool
	Limit       int
}

// List returns up to so many rows that fit, newest first unless told otherwise.
func (s *Store) List(ctx context.Context, f Filter, p Page) iter.Seq2[Row, error] {
	where, args := f.where()
	where, args = append(where, "sequence > ?"), append(args, p.Above)
	if p.Below > 0 {
		where, args = append(where, "sequence < ?"), append(args, p.Below)
	}
	order := "DESC"
	if p.OldestFirst {
		order = "ASC"
	}
	return s.many(ctx, p.Bodies, strings.Join(where, " AND ")+` ORDER BY sequence `+order+` LIMIT ?`, append(args, p.Limit)...)
}

func (f Filter) where() (where []string, args []any) {
	for _, w := range []struct {
		column string
		values []string
	}{{"chain", f.Chains}, {"rig", f.Rigs}, {"kind", f.Kinds}, {"verdict", f.Verdicts}} {
		if len(w.values) > 0 {
			where = append(where, w.column+" IN ("+marks(len(w.values))+")")
			args = appendAll(args, w.values)
		}
	}
	if len(f.RuleIDs) > 0 {
		where = append(where, "EXISTS (SELECT 1 FROM rule WHERE rule.sequence = entry.sequence AND rule_id IN ("+marks(len(f.RuleIDs))+"))")
		args = appendAll(args, f.RuleIDs)
	}
	if !f.From.IsZero() {
		where, args = append(where, "time_ns >= ?"), append(args, f.From.UnixNano())
	}
	if !f.Before.IsZero() {
		where, args = append(where, "time_ns < ?"), append(args, f.Before.UnixNano())
	}
	return where, args
}

func marks(n int) string { return strings.TrimSuffix(strings.Repeat("?,", n), ",") }

func appendAll(args []any, values []string) []any {
	for _, v := range values {
		args = append(args, v)
	}
	return args
}

// Heads returns the head of every chain, by name, and the highest sequence, both of one instant.
func (s *Store) Heads(ctx context.Context) (heads []Place, newest int64, err error) {
	tx, err := s.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, 0, s.readFailure("reading the heads", err)
	}
	defer func() { _ = tx.Rollback() }()
	if heads, err = chains(ctx, tx); err != nil {
		return nil, 0, s.readFailure("reading the heads", err)
	}
	newest, err = maximum[int64](ctx, tx, `SELECT max(sequence) FROM entry`)
	return heads, newest, s.readFailure("reading the newest entry", err)
}

// Newest returns the highest sequence, 0 in an empty record.
func (s *Store) Newest(ctx context.Context) (int64, error) {
	n, err := maximum[int64](ctx, s.readers, `SELECT max(sequence) FROM entry`)
	return n, s.readFailure("reading the newest entry", err)
}

// LastState returns the number of a chain's last state row, 0 where there is none.
func (s *Store) LastState(ctx context.Context, chain string) (uint64, error) {
	n, err := maximum[uint64](ctx, s.readers, `SELECT max(number) FROM entry WHERE chain = ? AND state <> 0`, chain)
	return n, s.readFailure("reading the last state of chain "+chain, err)
}

func maximum[N int64 | uint64](ctx context.Context, q queryer, query string, args ...any) (N, error) {
	var n sql.Null[N]
	err := q.QueryRowContext(ctx, query, args...).Scan(&n)
	return n.V, err
}

// chains leaps from chain to chain through the index.
func chains(ctx context.Context, tx *sql.Tx) ([]Place, error) {
	const query = `WITH RECURSIVE name(chain) AS (
 SELECT min(chain) FROM entry UNION ALL SELECT (SELECT min(chain) FROM entry WHERE chain > name.chain) FROM name WHERE name.chain IS NOT NULL)
SELECT e.chain, e.number, e.hash FROM name JOIN entry e ON e.chain = name.chain
 AND e.number = (SELECT max(number) FROM entry WHERE chain = name.chain) ORDER BY e.chain`
	rows, err := tx.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var out []Place
	for rows.Next() {
		var p Place
		var hash []byte
		if err := rows.Scan(&p.Chain, &p.Number, &hash); err != nil {
			return nil, err
		}
		if p.Hash, err = toHash(hash); err != nil {
			return nil, fmt.Errorf("head of chain %q: %w", p.Chain, err)
		}
		out = append(out, p)
	}
	return out, rows.Err()
}

func (s *Store) many(ctx context.Context, body bool, where string, args ...any) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		list := columns
		if body {
			list += s.bodyColumns()
		}
		rows, err := s.readers.QueryContext(ctx, `SELECT `+list+` FROM entry WHERE `+where, args...)
		if err != nil {
			yield(Row{}, s.readFailure("reading entries", err))
			return
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			r, err := scan(rows, body)
			if !yield(r, s.readFailure("reading entries", err)) || err != nil {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(Row{}, s.readFailure("reading entries", err))
		}
	}
}

type scanner interface{ Scan(...any) error }

func scan(from scanner, body bool) (Row, error) {
	var r Row
	var previous, hash []byte
	to := []any{&r.Sequence, &r.Chain, &r.Number, &r.TimeNanos, &r.Kind, &r.Rig, &r.Asker, &r.RequestID, &r.Verdict, &r.State, &previous, &hash, &r.Head}
	var kept []byte
	var packing int64
	if body {
		to = append(to, &kept, &packing)
	}
	if err := from.Scan(to...); err != nil {
		return r, err
	}
	var errPrevious, errHash, errBody error
	r.Previous, errPrevious = toHash(previous)
	r.Hash, errHash = toHash(hash)
	if body {
		r.Body, errBody = unpack(kept, packing)
	}
	return r, errors.Join(errPrevious, errHash, errBody)
}

func (s *Store) readFailure(doing string, err error) error {
	if err == nil {
		return nil
	}
	if damaged(err) {
		return s.failed(ErrDamaged, doing, err, ifDamaged)
	}
	return s.failed(ErrRead, doing, err, "if it stays, verify the record")
}

// toHash takes a hash column apart.
func toHash(b []byte) (Hash, error) {
	var h Hash
	if len(b) != HashSize {
		return h, fmt.Errorf("%w: a hash of %d bytes, want %d", ErrDamaged, len(b), HashSize)
	}
	copy(h[:], b)
	return h, nil
}
