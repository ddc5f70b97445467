package store

import (
	"bytes"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
)

// How much may gather in the log before it is moved into the database.
const (
	idleBytes       = 1 << 20 // where nobody waits: no longer than the log is from the beginning. Choice.
	checkpointBytes = 4 << 20 // in any case: about SQLite's own default of 1,000 pages of 4 KiB
)

// What a commit, and each row of it, take in the log beside the row's bytes: the first page, which knows how many there are, and what of the last
// page of the table was there before; in each row its columns and what is left of its pages. Measured with rows of 6 kB: 15 kB for one by itself, 7 kB for
// each of 64.
const (
	commitOverheadBytes = 2 * 4096
	rowOverheadBytes    = 1 << 10
	frameBytes          = 24 + 4096 // a page in the log with its head. Source: SQLite's page "Database File Format", 4.2
)

// writer is the one connection that writes, with its statements prepared.
type writer struct {
	mu    sync.Mutex
	conn  *sql.Conn
	begin *bare
	end   *bare
	last  *bare
	entry *bare
	// what marks an entry
	addMark, addLeave, addRule *bare

	packed packers
	// heads are those on disk, newest is the highest sequence there, and end the hash of its row: nobody else writes, and each commit looks whether
	// the last row is still that one. After a failure they are of no use.
	heads   map[string]Place
	newest  int64
	endHash []byte
	// logged is about how many bytes went to the log since it was last moved.
	logged int
	// failed holds the first failure: after it the store is finished.
	failed error
}

func newWriter(db *sql.DB, heads []Place, newest int64) (*writer, error) {
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	w := &writer{conn: conn, heads: map[string]Place{}, newest: newest}
	for _, h := range heads {
		w.heads[h.Chain] = h
	}
	var last int64
	err = conn.Raw(func(on any) (err error) {
		if err = w.prepare(ctx, on); err == nil {
			last, w.endHash, err = w.lastRow(ctx)
		}
		return err
	})
	if err == nil && last != newest {
		err = fmt.Errorf("row %d was written while the record was opened", last)
	}
	if err != nil {
		return nil, errors.Join(err, w.close())
	}
	return w, nil
}

// prepare prepares what each commit runs.
func (w *writer) prepare(ctx context.Context, on any) (err error) {
	for _, p := range []struct {
		to   **bare
		text string
	}{
		{&w.begin, `BEGIN IMMEDIATE`},
		{&w.end, `COMMIT`},
		{&w.addMark, addMark},
		{&w.addLeave, addLeave},
		{&w.addRule, addRule},
		{&w.last, `SELECT sequence, hash FROM entry ORDER BY sequence DESC LIMIT 1`},
		{&w.entry, `INSERT INTO entry (sequence, chain, number, time_ns, kind, rig, asker, request_id, verdict, state, leave_ids, rule_ids, previous, hash, head, body, packing)
 VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`},
	} {
		if *p.to, err = prepareBare(ctx, on, p.text); err != nil {
			return err
		}
	}
	return nil
}

// lastRow is the last row on disk: its sequence and hash, 0 and nil where there is none.
func (w *writer) lastRow(ctx context.Context) (sequence int64, hash []byte, err error) {
	row := make([]driver.Value, 2)
	err = w.last.first(ctx, row)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil, nil
	}
	sequence, _ = row[0].(int64) // another type is another row, which whoever asks looks for
	hash, _ = row[1].([]byte)
	return sequence, hash, err
}

func (w *writer) close() error {
	var errs []error
	_ = w.conn.Raw(func(any) error { // a connection that is closed already took its statements along
		for _, st := range []*bare{w.begin, w.end, w.last, w.entry, w.addMark, w.addLeave, w.addRule} {
			errs = append(errs, st.close())
		}
		return nil
	})
	return errors.Join(append(errs, w.conn.Close())...)
}

// errBrokenOff is the failure of a commit that never came to its end.
var errBrokenOff = errors.New("a panic broke the last commit off")

// Commit makes the rows durable, all or none, with one sync. Each must follow the head of its chain on disk, so a writer
// that came late cannot fork a chain. It sets each row's Sequence. Any error is final: the store takes no more, and what is on disk
// is unknown until it is closed and opened again.
//
// It takes no context: a caller's cancel never interrupts an append.
func (s *Store) Commit(rows []Row) error {
	w := s.writer
	if w == nil {
		return s.failed(ErrCommit, "writing rows", errors.New("opened to read only"), "")
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.failed != nil {
		return s.failed(ErrCommit, "writing rows after a failure", w.failed, "close the record and open it again")
	}
	w.failed = errBrokenOff // until the end is reached, which a panic does not
	w.packed.pack(rows)
	if err := s.commit(rows); err != nil {
		w.failed = err
		return err
	}
	s.fresh.add(rows)
	w.failed = nil
	return nil
}

func (s *Store) commit(rows []Row) error {
	const remedy = "nothing is allowed until it is written: see that the disk has room and is sound, and that no other program locks the record"
	w := s.writer
	if err := w.within(func() error { return w.write(rows) }); err != nil {
		if errors.Is(err, ErrNotHead) {
			return s.failed(ErrNotHead, "writing rows", err, "another service wrote to this record: stop one of them")
		}
		return s.failed(ErrCommit, "writing rows", err, remedy)
	}
	if err := s.watchSides(); err != nil {
		return err
	}
	return s.checkFile() // after the write: what it went to is what is found, or nobody is told of it
}

// within does something in a transaction of its own; after an error nothing of it counts. A panic is an error like another: left alone, it would have
// the connection closed with its statements unfinished, and that keep its lock for as long as the program runs.
func (w *writer) within(do func() error) error {
	ctx := context.Background()
	err := w.conn.Raw(func(any) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("panic: %v", p)
			}
		}()
		if err := w.begin.run(ctx); err != nil {
			return fmt.Errorf("beginning: %w", err)
		}
		if err := do(); err != nil {
			return err
		}
		if err := w.end.run(ctx); err != nil {
			return fmt.Errorf("committing: %w", err)
		}
		return nil
	})
	if err != nil {
		_, _ = w.conn.ExecContext(ctx, "ROLLBACK") // the store is finished anyway; this frees the lock for others
	}
	return err
}

// write inserts the rows and keeps account of them. After an error nothing of that counts.
func (w *writer) write(rows []Row) error {
	ctx := context.Background()
	switch last, end, err := w.lastRow(ctx); {
	case err != nil:
		return fmt.Errorf("reading the last row: %w", err)
	case last != w.newest || !bytes.Equal(end, w.endHash):
		return fmt.Errorf("%w: the last row is number %d of all, and not the one that was written last (%d)", ErrNotHead, last, w.newest)
	}
	for i := range rows {
		rows[i].Sequence = w.newest + int64(i) + 1
		if err := w.insert(ctx, &rows[i]); err != nil {
			return fmt.Errorf("row %d of chain %q: %w", rows[i].Number, rows[i].Chain, err)
		}
	}
	w.newest += int64(len(rows))
	w.endHash = slices.Clone(rows[len(rows)-1].Hash[:])
	w.logged += commitOverheadBytes
	for _, r := range rows {
		w.logged += len(r.Head) + len(r.kept) + rowOverheadBytes
	}
	return nil
}

func (w *writer) insert(ctx context.Context, r *Row) error {
	head := w.heads[r.Chain]
	if r.Number != head.Number+1 || r.Previous != head.Hash {
		return fmt.Errorf("%w: the head is number %d, hash %x", ErrNotHead, head.Number, head.Hash[:4])
	}
	leaves, err := listed(r.LeaveIDs)
	if err != nil {
		return err
	}
	rules, err := listed(r.RuleIDs)
	if err != nil {
		return err
	}
	err = w.entry.run(ctx, r.Sequence, r.Chain, int64(r.Number), r.TimeNanos, r.Kind, r.Rig, r.Asker, r.RequestID, r.Verdict, r.State,
		leaves, rules, r.Previous[:], r.Hash[:], r.Head, r.kept, r.packing)
	if wholeCode(err) == taken {
		return fmt.Errorf("%w: there is a row of sequence %d", ErrNotHead, r.Sequence)
	}
	w.heads[r.Chain] = r.Place
	return err
}

func notNil(b []byte) []byte {
	if b == nil {
		return []byte{} // nil would be NULL
	}
	return b
}

// Untidy tells whether enough has gathered for Tidy to do something.
func (s *Store) Untidy() bool {
	s.writer.mu.Lock()
	defer s.writer.mu.Unlock()
	return s.writer.logged >= idleBytes
}

// Tidy marks entries and moves the log into the database once enough has gathered. While somebody waits for the next commit it does as little of it as
// may be, for it syncs. What another program's lock does not let it do waits for the next time. Any other error is final, like one of Commit: a sync that
// failed says nothing about what the next one will find.
func (s *Store) Tidy(waiting func() bool) error {
	w := s.writer
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.failed != nil || w.logged < idleBytes {
		return w.failed
	}
	if err := s.tidy(waiting); !locked(err) {
		w.failed = err
	}
	return w.failed
}

func (s *Store) tidy(waiting func() bool) error {
	w := s.writer
	marked := false
	for at := s.fresh.upTo(); at < w.newest; at = s.fresh.upTo() {
		step := int64(markStep)
		if w.newest-at > mostFresh {
			step = markForced
		} else if waiting() {
			break
		}
		if err := s.mark(min(at+step, w.newest)); err != nil {
			return err
		}
		marked = true
	}
	if marked {
		frames, err := checkpoint(w.conn, "NOOP")
		if err != nil {
			return s.moveFailure(err)
		}
		w.logged = max(w.logged, frames*frameBytes) // marks go by pages, not by entries; what was moved in part counts on
	}
	if waiting() && w.logged < checkpointBytes {
		return nil
	}
	// PASSIVE never waits for readers; what they still need stays in the log until next time, and so does all of it while another program moves it.
	if err := s.checkFile(); err != nil { // what was put there is not to be mixed with the log
		return err
	}
	if _, err := checkpoint(w.conn, "PASSIVE"); errors.Is(err, errHeld) {
		return nil
	} else if err != nil {
		return s.moveFailure(err)
	}
	w.logged = 0
	return nil
}

func (s *Store) moveFailure(err error) error {
	return s.failed(ErrUntidy, "moving the log into the record", err, "see that the disk has room and is sound")
}

type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// checkpoint moves the log into the database and returns how many pages it held; TRUNCATE demands that all of it went, NOOP only looks.
func checkpoint(q queryer, mode string) (logged int, err error) {
	var held, moved int
	if err := q.QueryRowContext(context.Background(), "PRAGMA wal_checkpoint("+mode+")").Scan(&held, &logged, &moved); err != nil {
		return 0, err
	}
	switch {
	case mode == "TRUNCATE" && held != 0 && logged < 0: // it does not even say how much there is
		return 0, errors.New("nothing of it moved: another program reads or locks the record")
	case mode == "TRUNCATE" && (held != 0 || logged >= 0 && logged != moved):
		return 0, fmt.Errorf("%d of %d pages moved: another program reads or locks the record", moved, logged)
	case held != 0:
		return 0, errHeld
	case logged < 0: // see settings.logged
		return 0, errors.New("the record has no log")
	}
	return logged, nil
}

// errHeld: another program moves the log just now.
var errHeld = errors.New("another program moves the log")

// checkFile notices that the record file or its log was unlinked, renamed or replaced while open: what is written then
// goes to a file that nobody will find again.
func (s *Store) checkFile() error {
	for path, was := range s.watched {
		if isStill(path, was) {
			continue
		}
		now, err := identity(path)
		if err != nil || now == nil || !os.SameFile(was, now) {
			return s.failed(ErrReplaced, "looking for "+path, err, "put the file back where it was; until then nothing is allowed")
		}
	}
	return s.checkContent()
}

// watchSides begins to watch the log and its index once they exist: they are the same files until the store is closed.
func (s *Store) watchSides() error {
	sides := [...]string{"-wal", "-shm"}
	if len(s.watched) > len(sides) { // they and the record itself: all there is
		return nil
	}
	for _, side := range sides {
		path := s.path + side
		if s.watched[path] != nil {
			continue
		}
		info, err := identity(path)
		if err != nil {
			return s.failed(ErrReplaced, "looking for "+path, err, "")
		}
		if info != nil {
			s.watched[path] = info
		}
	}
	return nil
}
