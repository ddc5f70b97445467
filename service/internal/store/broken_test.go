package store_test

import (
	"context"
	"database/sql/driver"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/store"
)

// badCon is a connector whose connections break when told to.
type badCon struct {
	driver.Connector
	bad *atomic.Bool
}

func (b badCon) Connect(ctx context.Context) (driver.Conn, error) {
	c, err := b.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return badConn{c, b.bad}, nil
}

type badConn struct {
	driver.Conn
	bad *atomic.Bool
}

func (c badConn) QueryContext(ctx context.Context, q string, a []driver.NamedValue) (driver.Rows, error) {
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, q, a)
}
func (c badConn) ExecContext(ctx context.Context, q string, a []driver.NamedValue) (driver.Result, error) {
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, q, a)
}
func (c badConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	return c.Conn.(driver.ConnBeginTx).BeginTx(ctx, o)
}
func (c badConn) PrepareContext(ctx context.Context, q string) (driver.Stmt, error) {
	s, err := c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, q)
	return badStmt{s, c.bad}, err
}

type badStmt struct {
	driver.Stmt
	bad *atomic.Bool
}

func (s badStmt) ExecContext(ctx context.Context, a []driver.NamedValue) (driver.Result, error) {
	if s.bad.Load() {
		return nil, driver.ErrBadConn
	}
	return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, a)
}
func (s badStmt) QueryContext(ctx context.Context, a []driver.NamedValue) (driver.Rows, error) {
	return s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, a)
}

// A connection that broke under a commit takes its statements along: what closes the store afterwards touches none of them.
func TestConnectionThatBroke(t *testing.T) {
	var bad atomic.Bool
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{Wrap: func(c driver.Connector) driver.Connector { return badCon{c, &bad} }})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	bad.Store(true)
	require.ErrorIs(t, s.Commit([]store.Row{row("a", 2)}), store.ErrCommit)
	bad.Store(false)
	_ = s.Close() // may tell of the connection again
	s = open(t, path, store.Options{})
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
}

// TestAPanicEndsTheStore: of a commit that a panic broke off nothing is known, so no other is taken; nothing of it is on disk, and whoever opens the
// record next finds it unlocked.
func TestAPanicEndsTheStore(t *testing.T) {
	for _, op := range []string{"begin", "write", "commit"} {
		disk, path := &faults.Disk{}, filepath.Join(t.TempDir(), "record")
		s, err := store.Open(path, store.Options{Wrap: disk.Wrap})
		require.NoError(t, err)
		require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
		disk.FailAtOnly(op, 1, faults.Panics, false)
		err = s.Commit([]store.Row{row("a", 2)})
		require.ErrorIs(t, err, store.ErrCommit, op)
		require.ErrorContains(t, err, "panic: ", op)
		require.ErrorIs(t, s.Commit([]store.Row{row("a", 2)}), store.ErrCommit, op)
		require.Error(t, s.Tidy(func() bool { return false }), op)
		require.NoError(t, s.Close(), op)
		again := open(t, path, store.Options{})
		_, err = again.Get(t.Context(), "a", 2)
		require.ErrorIs(t, err, store.ErrAbsent, op)
		require.NoError(t, again.Commit([]store.Row{row("a", 2)}), op)
	}
}
