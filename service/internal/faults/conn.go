package faults

import (
	"context"
	"database/sql/driver"
)

// conn passes every optional interface of the driver's connection on, so that wrapping changes nothing but the failures.
type conn struct {
	driver.Conn
	disk *Disk
}

// Unwrap gives the driver's connection.
func (c *conn) Unwrap() driver.Conn { return c.Conn }

// ExecContext runs a statement under the orders.
func (c *conn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	e, ok := c.Conn.(driver.ExecerContext)
	if !ok {
		return nil, driver.ErrSkip
	}
	return do(c.disk, kind(query), func() (driver.Result, error) { return e.ExecContext(ctx, query, args) }, func(driver.Result) {})
}

// QueryContext runs a query under the orders.
func (c *conn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	q, ok := c.Conn.(driver.QueryerContext)
	if !ok {
		return nil, driver.ErrSkip
	}
	return do(c.disk, kind(query), func() (driver.Rows, error) { return q.QueryContext(ctx, query, args) }, closeRows)
}

// PrepareContext prepares a statement; it fails only when run.
func (c *conn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	p, ok := c.Conn.(driver.ConnPrepareContext)
	if !ok {
		return c.Prepare(query)
	}
	inner, err := p.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	return &stmt{Stmt: inner, disk: c.disk, kind: kind(query)}, nil
}

// BeginTx begins a transaction of a reader.
func (c *conn) BeginTx(ctx context.Context, opts driver.TxOptions) (driver.Tx, error) {
	if b, ok := c.Conn.(driver.ConnBeginTx); ok {
		return b.BeginTx(ctx, opts)
	}
	//lint:ignore SA1019 a driver without BeginTx has nothing else
	return c.Conn.Begin()
}

// Ping passes on.
func (c *conn) Ping(ctx context.Context) error {
	if p, ok := c.Conn.(driver.Pinger); ok {
		return p.Ping(ctx)
	}
	return nil
}

// ResetSession passes on.
func (c *conn) ResetSession(ctx context.Context) error {
	if r, ok := c.Conn.(driver.SessionResetter); ok {
		return r.ResetSession(ctx)
	}
	return nil
}

// IsValid passes on.
func (c *conn) IsValid() bool {
	v, ok := c.Conn.(driver.Validator)
	return !ok || v.IsValid()
}

type stmt struct {
	driver.Stmt
	disk *Disk
	kind string
}

// ExecContext runs the statement under the orders.
func (s *stmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	return do(s.disk, s.kind, func() (driver.Result, error) {
		return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
	}, func(driver.Result) {})
}

// QueryContext runs the query under the orders.
func (s *stmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	return do(s.disk, s.kind, func() (driver.Rows, error) {
		return s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
	}, closeRows)
}

func closeRows(r driver.Rows) { _ = r.Close() }
