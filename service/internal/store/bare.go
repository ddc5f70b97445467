package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
)

// bare is a statement prepared on the driver's own connection: what database/sql does about each (locks, conversions, results that nobody looks at) is
// left out of commits. It is run within sql.Conn.Raw alone.
type bare struct {
	stmt  driver.Stmt
	exec  driver.StmtExecContext
	query driver.StmtQueryContext
	args  []driver.NamedValue
}

// prepareBare prepares a statement.
func prepareBare(ctx context.Context, on any, text string) (*bare, error) {
	conn, ok := on.(driver.ConnPrepareContext)
	if !ok {
		return nil, fmt.Errorf("the driver cannot prepare on a bare connection: %T", on)
	}
	stmt, err := conn.PrepareContext(ctx, text)
	if err != nil {
		return nil, err
	}
	b := &bare{stmt: stmt}
	var runs, asks bool
	b.exec, runs = stmt.(driver.StmtExecContext)
	b.query, asks = stmt.(driver.StmtQueryContext)
	if !runs || !asks {
		return nil, errors.Join(fmt.Errorf("the driver cannot run a bare statement: %T", stmt), stmt.Close())
	}
	return b, nil
}

// with puts values (int64, bool, string, []byte) in the order of the statement.
func (b *bare) with(values []driver.Value) []driver.NamedValue {
	b.args = b.args[:0]
	for i, v := range values {
		b.args = append(b.args, driver.NamedValue{Ordinal: i + 1, Value: v})
	}
	return b.args
}

// run runs it to its end.
func (b *bare) run(ctx context.Context, values ...driver.Value) error {
	_, err := b.exec.ExecContext(ctx, b.with(values))
	clear(b.args) // keeps no row's bytes
	return err
}

// first reads the first row that it gives into to, sql.ErrNoRows where there is none.
func (b *bare) first(ctx context.Context, to []driver.Value) (err error) {
	rows, err := b.query.QueryContext(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	if err := rows.Next(to); errors.Is(err, io.EOF) {
		return sql.ErrNoRows
	} else if err != nil {
		return err
	}
	return nil
}

func (b *bare) close() error {
	if b == nil {
		return nil
	}
	return b.stmt.Close()
}
