package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
)

// columns of a row, in the order that scan reads them, less the body. The lists of ids are in the head.
const columns = `e.sequence, e.chain, e.number, e.time_ns, e.kind, e.rig, e.asker, e.request_id, e.verdict, e.state, e.previous, e.hash, e.head`

// columns are those to read. Requires an open file.
func (s *Store) columns(body bool) string {
	switch {
	case !body:
		return columns
	case s.version < 2:
		return columns + `, e.body, 0` // opened to read only, as an older program left it
	}
	return columns + `, e.body, e.packing`
}

// marks names the table in which entries are found: before version 3 that of the entries themselves.
func (s *Store) marks() string {
	if s.version < 3 {
		return `entry`
	}
	return `mark`
}

// Marked returns up to which sequence entries are found by their marks. It only grows: what is beyond it, and what is not, stays all there is, whatever
// is marked meanwhile. In a file of before version 3 it is what was there when it was asked for.
func (s *Store) Marked(ctx context.Context) (int64, error) {
	if s.writer != nil {
		return s.fresh.upTo(), nil
	}
	n, err := maximum[int64](s.readers.QueryRowContext(ctx, `SELECT max(sequence) FROM `+s.marks()))
	return n, s.readFailure("reading how far entries are marked", err)
}

// Get returns one row by its place.
func (s *Store) Get(ctx context.Context, chain string, number uint64) (Row, error) {
	return s.one(ctx, fmt.Sprintf("entry %d of chain %q", number, chain), spot{chain, number}, s.marks()+` WHERE chain = ?1 AND number = ?2`,
		`e.chain = ?1 AND e.number = ?2`, chain, int64(number))
}

// ByRequest returns the row of a request id.
func (s *Store) ByRequest(ctx context.Context, id string) (Row, error) {
	return s.one(ctx, fmt.Sprintf("request id %q", id), requestID(id), s.marks()+` WHERE request_id = ?1 AND request_id <> ''`, `e.request_id = ?1 AND ?1 <> ''`, id)
}

// HasRequest tells whether a row has a request id. Requires a store that writes.
func (s *Store) HasRequest(ctx context.Context, id string) (bool, error) {
	if s.fresh.sequence(requestID(id)) > 0 {
		return true, nil
	}
	var n int64
	err := s.requests.QueryRowContext(ctx, id).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, s.readFailure(fmt.Sprintf("looking for request id %q", id), err)
}

// RequestIDs returns up to limit request ids of marked entries that come after one in byte order, in that order, from the index alone.
func (s *Store) RequestIDs(ctx context.Context, after string, limit int) ([]string, error) {
	const what = "reading request ids"
	rows, err := s.readers.QueryContext(ctx, `SELECT request_id FROM `+s.marks()+` WHERE request_id > ? AND request_id <> '' ORDER BY request_id LIMIT ?`, after, limit)
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
	return s.one(ctx, fmt.Sprintf("leave id %q", id), leaveID(id), `leave WHERE leave_id = ?1`, `EXISTS (SELECT 1 FROM json_each(e.leave_ids) WHERE value = ?1)`, id)
}

// one returns the first row that is found: among those fresh, else among those marked and then those that are not, in one statement: marking that comes
// between two would hide the row from both.
func (s *Store) one(ctx context.Context, what string, key any, marked, unmarked string, args ...any) (Row, error) {
	where := `e.sequence = (SELECT min(sequence) FROM ` + marked + `)`
	if s.version >= 3 {
		where = `e.sequence = coalesce((SELECT min(sequence) FROM ` + marked + `), (SELECT min(e.sequence) FROM entry e WHERE e.sequence > (` + newestMark + `) AND ` + unmarked + `))`
	}
	if sequence := s.fresh.sequence(key); sequence > 0 {
		where, args = `e.sequence = ?1`, []any{sequence}
	}
	row, err := s.first(ctx, where, args...)
	if errors.Is(err, sql.ErrNoRows) {
		return Row{}, fmt.Errorf("%s: %w", what, ErrAbsent)
	}
	return row, s.readFailure("reading "+what, err)
}

func (s *Store) first(ctx context.Context, where string, args ...any) (Row, error) {
	q, err := s.prepared(ctx, `SELECT `+s.columns(true)+` FROM entry AS e WHERE `+where)
	if err != nil {
		return Row{}, err
	}
	return scan(q.QueryRowContext(ctx, args...), true)
}

// prepared returns a statement that is kept ready, as a start asks the same of every chain: to prepare it takes longer than its answer. Requires one
// of few texts. It is closed with the readers.
func (s *Store) prepared(ctx context.Context, text string) (*sql.Stmt, error) {
	if q, ok := s.ready.Load(text); ok {
		return q.(*sql.Stmt), nil
	}
	q, err := s.readers.PrepareContext(ctx, text)
	if err != nil {
		return nil, err
	}
	if first, raced := s.ready.LoadOrStore(text, q); raced {
		return first.(*sql.Stmt), q.Close()
	}
	return q, nil
}

// Run returns up to limit rows of a chain from a number on, whole, ascending.
func (s *Store) Run(ctx context.Context, chain string, from uint64, limit int) iter.Seq2[Row, error] {
	return s.many(ctx, true, limit, func(marked int64) []part {
		later := part{alone + `e.sequence > ? AND e.chain = ? AND e.number >= ? ORDER BY e.number`, []any{marked, chain, int64(from)}, true, true}
		if first := s.fresh.sequence(spot{chain, from}); first > marked {
			later.args[0] = first - 1
			return []part{later}
		}
		return []part{
			{s.joined() + `m.sequence <= ? AND m.chain = ? AND m.number >= ? ORDER BY m.number`, []any{marked, chain, int64(from)}, false, true},
			later,
		}
	})
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
	return s.many(ctx, p.Bodies, p.Limit, func(marked int64) []part {
		inMarks, inRows := p.part("m", s.joined()+`m.sequence <= ?`, marked), p.part("e", alone+`e.sequence > ?`, marked)
		inMarks.narrow(f, "m", `rule WHERE rule.sequence = m.sequence AND rule_id`)
		inRows.narrow(f, "e", `json_each(e.rule_ids) WHERE value`)
		if p.OldestFirst {
			return []part{inMarks.ordered(`m.sequence`), inRows.ordered(`e.sequence`)}
		}
		return []part{inRows.ordered(`e.sequence DESC`), inMarks.ordered(`m.sequence DESC`)}
	})
}

// part is a query for some of the rows: what follows the columns, without its limit.
type part struct {
	from string
	args []any
	late bool // of those that have no mark: in a file of before version 3 there are none
	kept bool // its text is one of few
}

// alone are rows by themselves; joined are those that are found by their marks.
const alone = ` FROM entry AS e WHERE `

func (s *Store) joined() string {
	return ` FROM ` + s.marks() + ` AS m CROSS JOIN entry AS e ON e.sequence = m.sequence WHERE ` // a cross join keeps that order
}

// part is what of a page is on one side of the last mark.
func (p Page) part(table, from string, marked int64) part {
	out := part{from: from + ` AND ` + table + `.sequence > ?`, args: []any{marked, p.Above}, late: table == "e"}
	if p.Below > 0 {
		out.and(table+`.sequence < ?`, p.Below)
	}
	return out
}

func (p *part) and(condition string, args ...any) {
	p.from += ` AND ` + condition
	p.args = append(p.args, args...)
}

func (p part) ordered(by string) part {
	return part{p.from + ` ORDER BY ` + by, p.args, p.late, p.kept}
}

// narrow leaves what fits, of a table of marks or of rows alone.
func (p *part) narrow(f Filter, table, rules string) {
	for _, w := range []struct {
		column string
		values []string
	}{{table + ".chain", f.Chains}, {table + ".rig", f.Rigs}, {"e.kind", f.Kinds}, {"e.verdict", f.Verdicts}} {
		if len(w.values) > 0 {
			p.and(w.column+" IN ("+places(len(w.values))+")", anys(w.values)...)
		}
	}
	if len(f.RuleIDs) > 0 {
		p.and("EXISTS (SELECT 1 FROM "+rules+" IN ("+places(len(f.RuleIDs))+"))", anys(f.RuleIDs)...)
	}
	if !f.From.IsZero() {
		p.and(table+".time_ns >= ?", f.From.UnixNano())
	}
	if !f.Before.IsZero() {
		p.and(table+".time_ns < ?", f.Before.UnixNano())
	}
}

func places(n int) string { return strings.TrimSuffix(strings.Repeat("?,", n), ",") }

func anys(values []string) []any {
	out := make([]any, len(values))
	for i, v := range values {
		out[i] = v
	}
	return out
}

// Heads returns the head of every chain, by name, and the highest sequence, both of one instant.
func (s *Store) Heads(ctx context.Context) (heads []Place, newest int64, err error) {
	tx, err := s.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, 0, s.readFailure("reading the heads", err)
	}
	defer func() { _ = tx.Rollback() }()
	if heads, err = s.heads(ctx, tx); err != nil {
		return nil, 0, s.readFailure("reading the heads", err)
	}
	newest, err = maximum[int64](tx.QueryRowContext(ctx, `SELECT max(sequence) FROM entry`))
	return heads, newest, s.readFailure("reading the newest entry", err)
}

// Newest returns the highest sequence, 0 in an empty record.
func (s *Store) Newest(ctx context.Context) (int64, error) {
	n, err := maximum[int64](s.readers.QueryRowContext(ctx, `SELECT max(sequence) FROM entry`))
	return n, s.readFailure("reading the newest entry", err)
}

// LastState returns the number of a chain's last state row, 0 where there is none.
func (s *Store) LastState(ctx context.Context, chain string) (uint64, error) {
	marked, err := s.Marked(ctx)
	if err != nil {
		return 0, err
	}
	n, err := s.highest(ctx, `SELECT max(number) FROM `+s.marks()+` WHERE chain = ? AND state <> 0`, chain)
	if err != nil {
		return 0, s.readFailure("reading the last state of chain "+chain, err)
	}
	later, err := s.highest(ctx, `SELECT max(number) FROM entry WHERE sequence > ? AND chain = ? AND state <> 0`, marked, chain)
	return max(n, later), s.readFailure("reading the last state of chain "+chain, err)
}

// highest is the one number of a text of few, 0 where there is none.
func (s *Store) highest(ctx context.Context, text string, args ...any) (uint64, error) {
	q, err := s.prepared(ctx, text)
	if err != nil {
		return 0, err
	}
	return maximum[uint64](q.QueryRowContext(ctx, args...))
}

func maximum[N int64 | uint64](row *sql.Row) (N, error) {
	var n sql.Null[N]
	err := row.Scan(&n)
	return n.V, err
}

// heads are those of what is marked, and then of what came later.
func (s *Store) heads(ctx context.Context, tx *sql.Tx) ([]Place, error) {
	found := map[string]Place{}
	for _, query := range s.headQueries() {
		if err := chains(ctx, tx, query, found); err != nil {
			return nil, err
		}
	}
	return slices.SortedFunc(maps.Values(found), func(a, b Place) int { return strings.Compare(a.Chain, b.Chain) }), nil
}

func (s *Store) headQueries() []string {
	// From chain to chain by leaps through the index.
	leaps := strings.ReplaceAll(`WITH RECURSIVE name(chain) AS (
 SELECT min(chain) FROM MARKS UNION ALL SELECT (SELECT min(chain) FROM MARKS WHERE chain > name.chain) FROM name WHERE name.chain IS NOT NULL)
SELECT name.chain, e.number, e.hash FROM name LEFT JOIN entry AS e ON e.sequence = (SELECT sequence FROM MARKS WHERE chain = name.chain ORDER BY number DESC LIMIT 1) WHERE name.chain IS NOT NULL`, `MARKS`, s.marks())
	if s.version < 3 {
		return []string{leaps}
	}
	return []string{leaps, `SELECT chain, number, hash FROM entry WHERE sequence > (` + newestMark + `) ORDER BY sequence`}
}

// chains puts the place in each row over what is known of its chain.
func chains(ctx context.Context, tx *sql.Tx, query string, found map[string]Place) error {
	rows, err := tx.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var p Place
		var number sql.Null[uint64] // none where a mark leads nowhere: the end of the chain is gone
		var hash []byte
		if err := rows.Scan(&p.Chain, &number, &hash); err != nil {
			return err
		}
		if !number.Valid {
			return fmt.Errorf("%w: the last entries of chain %q are missing: the record marks one that is not there", ErrDamaged, p.Chain)
		}
		p.Number = number.V
		if p.Hash, err = toHash(hash); err != nil {
			return fmt.Errorf("head of chain %q: %w", p.Chain, err)
		}
		if p.Number >= found[p.Chain].Number {
			found[p.Chain] = p
		}
	}
	return rows.Err()
}

// many yields up to limit rows of parts that follow each other.
func (s *Store) many(ctx context.Context, body bool, limit int, parts func(marked int64) []part) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		marked, err := s.Marked(ctx)
		if err != nil {
			yield(Row{}, err)
			return
		}
		left := limit
		for _, p := range parts(marked) {
			if p.late && s.version < 3 {
				continue
			}
			if left <= 0 || !s.some(ctx, body, p, &left, yield) {
				return
			}
		}
	}
}

// some yields rows of one part, and tells whether to go on after them.
func (s *Store) some(ctx context.Context, body bool, p part, left *int, yield func(Row, error) bool) bool {
	rows, err := s.query(ctx, `SELECT `+s.columns(body)+p.from+` LIMIT ?`, p.kept, append(p.args, *left)...)
	if err != nil {
		yield(Row{}, s.readFailure("reading entries", err))
		return false
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		r, err := scan(rows, body)
		if !yield(r, s.readFailure("reading entries", err)) || err != nil {
			return false
		}
		*left--
	}
	if err := rows.Err(); err != nil {
		yield(Row{}, s.readFailure("reading entries", err))
		return false
	}
	return true
}

// query runs a text, prepared once where it is one of few.
func (s *Store) query(ctx context.Context, text string, kept bool, args ...any) (*sql.Rows, error) {
	if !kept {
		return s.readers.QueryContext(ctx, text, args...)
	}
	q, err := s.prepared(ctx, text)
	if err != nil {
		return nil, err
	}
	return q.QueryContext(ctx, args...)
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
	if errors.Is(err, ErrDamaged) { // what verifying would say again
		return s.failed(ErrRead, doing, err, ifDamaged)
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
