package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"keepclear.example/keepclear/service/internal/store"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// row makes an invented row; its hash is only a label here.
func row(chain string, number uint64) store.Row {
	r := store.Row{Place: store.Place{Chain: chain, Number: number, Hash: label(chain, number)}, Head: []byte("head"), Body: []byte("body"),
		Index: store.Index{Kind: "asked", RequestID: fmt.Sprintf("%s-%d", chain, number), LeaveIDs: []string{fmt.Sprintf("leave-%s-%d", chain, number)}}}
	if number > 1 {
		r.Previous = label(chain, number-1)
	}
	return r
}

func label(chain string, number uint64) (h store.Hash) {
	copy(h[:], fmt.Sprintf("%s-%d", chain, number))
	return h
}

func open(t *testing.T, path string, o store.Options) *store.Store {
	t.Helper()
	s, err := store.Open(path, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

func TestCommitInOrder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record ?#%&.db") // a name that is no plain URI
	s := open(t, path, store.Options{})
	rows := []store.Row{row("a", 1), row("b", 1), row("a", 2)}
	require.NoError(t, s.Commit(rows))
	assert.Equal(t, []int64{1, 2, 3}, []int64{rows[0].Sequence, rows[1].Sequence, rows[2].Sequence})
	heads, newest, err := s.Heads(t.Context())
	require.NoError(t, err)
	assert.Equal(t, []store.Place{rows[2].Place, rows[1].Place}, heads)
	assert.Equal(t, int64(3), newest)
	_, err = os.Stat(path)
	assert.NoError(t, err, "the file bears the name that was given")
	require.NoError(t, s.Check(t.Context()))
	_, err = s.Get(t.Context(), "a", 3)
	assert.ErrorIs(t, err, store.ErrAbsent)
}

// TestForkIsRefused: a row that does not follow the head on disk is refused, with all of its batch, and that is final.
func TestForkIsRefused(t *testing.T) {
	for name, late := range map[string]store.Row{
		"a number again": row("a", 1), "a number left out": row("a", 3),
		"another forerunner": func() store.Row { r := row("a", 2); r.Previous[0] ^= 1; return r }(),
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t, filepath.Join(t.TempDir(), "record"), store.Options{})
			require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
			err := s.Commit([]store.Row{row("b", 1), late})
			require.ErrorIs(t, err, store.ErrNotHead)
			_, err = s.Get(t.Context(), "b", 1)
			assert.ErrorIs(t, err, store.ErrAbsent, "the row before it in the batch")
			assert.ErrorIs(t, s.Commit([]store.Row{row("a", 2)}), store.ErrCommit, "after a failure")
		})
	}
}

// TestTwoServices: the second is refused while the first lives.
func TestTwoServices(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	first := open(t, path, store.Options{})
	_, err := store.Open(path, store.Options{})
	require.ErrorIs(t, err, store.ErrInUse)
	assert.ErrorContains(t, err, path)
	require.NoError(t, first.Commit([]store.Row{row("a", 1)}))
}

// TestRecordChangedBehindUs: a last row that went, that is another one, or that another program wrote beyond it, in whatever sequence, is seen before the
// next row is written behind it.
func TestRecordChangedBehindUs(t *testing.T) {
	for name, change := range map[string]string{
		"gone": `DELETE FROM entry WHERE sequence = 2`,
		"the next of its chain, by another service that no lock kept out": `INSERT INTO entry (sequence, chain, number, time_ns, kind, rig, asker, request_id, verdict, state, leave_ids, rule_ids, previous, hash, head, body, packing)
 SELECT 3, 'a', 3, time_ns, kind, rig, asker, 'other', verdict, state, '[]', '[]', hash, zeroblob(32), head, body, packing FROM entry WHERE sequence = 2`,
		"another": `UPDATE entry SET hash = zeroblob(32) WHERE sequence = 2`,
		"beyond": `INSERT INTO entry (sequence, chain, number, time_ns, kind, rig, asker, request_id, verdict, state, leave_ids, rule_ids, previous, hash, head, body, packing)
 SELECT 9, 'a', 3, time_ns, kind, rig, asker, 'other', verdict, state, '[]', '[]', previous, zeroblob(32), head, body, packing FROM entry WHERE sequence = 2`,
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "record")
			s := open(t, path, store.Options{})
			require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
			require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
			other, err := sql.Open("sqlite", path)
			require.NoError(t, err)
			_, err = other.Exec(change)
			require.NoError(t, err)
			require.NoError(t, other.Close())
			err = s.Commit([]store.Row{row("a", 3)})
			require.ErrorIs(t, err, store.ErrNotHead)
			assert.Equal(t, 1, strings.Count(err.Error(), store.ErrNotHead.Error()), "it is said once: %v", err)
		})
	}
}

// A file that was cut short or overwritten is damaged, or none of ours, and the advice fits: nothing is wrong with its folder.
func TestDamagedFilesAreCalledSo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	for n := range 200 {
		require.NoError(t, s.Commit([]store.Row{row("a", uint64(n+1))}))
	}
	require.NoError(t, s.Close())
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		content []byte
		class   error
	}{
		"cut in the first page": {file[:2000], store.ErrDamaged},
		"cut after a page":      {file[:4096], store.ErrDamaged},
		"cut in the middle":     {file[:len(file)/2], store.ErrDamaged},
		"another kind of file":  {bytes.Repeat([]byte("no record "), 1000), store.ErrForeign},
	} {
		for _, readOnly := range []bool{false, true} {
			require.NoError(t, os.WriteFile(path, c.content, 0o600))
			_, err := store.Open(path, store.Options{ReadOnly: readOnly})
			require.ErrorIs(t, err, c.class, "%s, read only %t", name, readOnly)
			assert.ErrorContains(t, err, path, name)
			assert.ErrorContains(t, err, "restore a copy", name)
			assert.NotContains(t, err.Error(), "may write", name)
			assert.Equal(t, errors.Is(c.class, store.ErrDamaged), strings.Contains(err.Error(), "I/O error"), "%s: SQLite calls an unread page malformed too: %v", name, err)
		}
	}
}

func TestVersions(t *testing.T) {
	for name, c := range map[string]struct {
		at    int64 // SQLite file format, section 1.3: user version at byte 60, application id at 68, big-endian
		bytes []byte
		class error
		says  string
	}{
		"newer":   {60, []byte{0, 0, 0, 9}, store.ErrNewer, "version 9"},
		"none":    {60, []byte{0, 0, 0, 0}, store.ErrForeign, "version 0"},
		"foreign": {68, []byte{1, 2, 3, 4}, store.ErrForeign, "0x1020304"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "record")
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			require.NoError(t, s.Close())
			file, err := os.ReadFile(path)
			require.NoError(t, err)
			copy(file[c.at:], c.bytes)
			require.NoError(t, os.WriteFile(path, file, 0o600))
			for _, readOnly := range []bool{false, true} {
				_, err = store.Open(path, store.Options{ReadOnly: readOnly})
				require.ErrorIs(t, err, c.class)
				assert.ErrorContains(t, err, c.says)
			}
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, file, after, "nothing was changed")
		})
	}
}

// TestNotOpened: each refusal names the path and what to do, and makes nothing.
func TestNotOpened(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text")
	require.NoError(t, os.WriteFile(text, []byte(strings.Repeat("no record\n", 1000)), 0o600))
	for _, path := range []string{"", dir + "/", filepath.Join(dir, "none", "record"), dir, text} {
		_, err := store.Open(path, store.Options{})
		var at *store.FileError
		require.ErrorAs(t, err, &at, "path %q", path)
		assert.NotEmpty(t, at.Remedy, "path %q: %v", path, err)
		assert.Equal(t, path, at.Path)
	}
	_, err := store.Open(filepath.Join(dir, "record"), store.Options{ReadOnly: true})
	require.ErrorIs(t, err, os.ErrNotExist, "to read only makes no file")
}

// TestReadOnlyChangesNothing: verifying a file on the side, in use or not, leaves every byte as it was.
func TestReadOnlyChangesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	for _, when := range []string{"in use", "not in use"} {
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		r, err := store.Open(path, store.Options{ReadOnly: true})
		require.NoError(t, err, when)
		got, err := r.Get(t.Context(), "a", 1)
		require.NoError(t, err, when)
		assert.Equal(t, "body", string(got.Body), when)
		require.ErrorIs(t, r.Commit([]store.Row{row("a", 2)}), store.ErrCommit, when)
		require.NoError(t, r.Close())
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after, when)
		if when == "in use" {
			require.NoError(t, s.Close())
		}
	}
}

// liar is a driver that takes a setting and does not keep it.
type liar struct {
	driver.Connector
	setting, answer string
}

func (l liar) Connect(ctx context.Context) (driver.Conn, error) {
	c, err := l.Connector.Connect(ctx)
	return lyingConn{Conn: c, liar: l}, err
}

type lyingConn struct {
	driver.Conn
	liar liar
}

func (c lyingConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	if query == "PRAGMA "+c.liar.setting {
		query = "SELECT " + c.liar.answer
	}
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
}

// TestSettingsAreReadBack: whatever was asked for, what the connection says it has decides; and of the log, what SQLite knows of it, because
// the word of journal_mode is no more than what was asked for.
func TestSettingsAreReadBack(t *testing.T) {
	for setting, c := range map[string]struct{ answer, says string }{
		"synchronous": {"1", "synchronous is 1, want 2"}, "journal_mode": {"'delete'", "journal_mode is delete, want wal"},
		"journal_mode=WAL":     {"'wal'", "journal_mode is delete, want wal"}, // the switch is never made
		"wal_autocheckpoint":   {"1000", "wal_autocheckpoint is 1000, want 0"},
		"checkpoint_fullfsync": {"0", "checkpoint_fullfsync is 0"}, "mmap_size": {"4096", "mmap_size is 4096"}, "temp_store": {"1", "temp_store is 1"},
		"trusted_schema": {"1", "trusted_schema is 1"}, "cell_size_check": {"0", "cell_size_check is 0"}, "busy_timeout": {"5", "busy_timeout is 5"},
		"query_only": {"0", "query_only is 0"}, "cache_size": {"-2000", "cache_size is -2000"},
		"wal_checkpoint(NOOP)": {"0, -1, -1", "journal_mode is not really wal"},
	} {
		_, err := store.Open(filepath.Join(t.TempDir(), "record"), store.Options{Wrap: func(inner driver.Connector) driver.Connector {
			return liar{Connector: inner, setting: setting, answer: c.answer}
		}})
		require.ErrorIs(t, err, store.ErrUnsafe, setting)
		assert.ErrorContains(t, err, c.says)
	}
}

// TestNoLogToMove: a connection that has lost its log says so where the log is to be moved, not that all of it is.
func TestNoLogToMove(t *testing.T) {
	_, err := store.Open(filepath.Join(t.TempDir(), "record"), store.Options{Wrap: func(inner driver.Connector) driver.Connector {
		return liar{Connector: inner, setting: "wal_checkpoint(TRUNCATE)", answer: "0, -1, -1"}
	}})
	require.ErrorIs(t, err, store.ErrUntidy)
	assert.ErrorContains(t, err, "the record has no log")
}

// TestLogThatDoesNotMove: who keeps the log from being moved is told, with how much of it moved where SQLite says that.
func TestLogThatDoesNotMove(t *testing.T) {
	for answer, says := range map[string]string{
		"1, -1, -1": "nothing of it moved: another program reads or locks the record",
		"1, 5, 2":   "2 of 5 pages moved: another program reads or locks the record",
		"0, 5, 2":   "2 of 5 pages moved: another program reads or locks the record",
	} {
		_, err := store.Open(filepath.Join(t.TempDir(), "record"), store.Options{Wrap: func(inner driver.Connector) driver.Connector {
			return liar{Connector: inner, setting: "wal_checkpoint(TRUNCATE)", answer: answer}
		}})
		require.ErrorIs(t, err, store.ErrUntidy, answer)
		assert.ErrorContains(t, err, says)
	}
}

// TestLockedByAnother: a person's shell holds the file; the wait is bounded, and the commit fails with the cause named.
func TestLockedByAnother(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s := open(t, path, store.Options{})
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	shell, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer func() { require.NoError(t, shell.Close()) }()
	shell.SetMaxOpenConns(1)
	_, err = shell.Exec("BEGIN EXCLUSIVE")
	require.NoError(t, err)
	err = s.Commit([]store.Row{row("a", 2)})
	require.ErrorIs(t, err, store.ErrCommit)
	assert.ErrorContains(t, err, "locked")
	_, err = shell.Exec("ROLLBACK")
	require.NoError(t, err)
}
