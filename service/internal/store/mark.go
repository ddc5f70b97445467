package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sort"
	"sync"
)

// What puts entries into the tables by which they are found. Each index would else cost every commit a page of its own; many rows at once share theirs.
const (
	addMark  = `INSERT INTO mark (sequence, chain, number, time_ns, rig, request_id, state) VALUES (?,?,?,?,?,?,?)`
	addLeave = `INSERT INTO leave (leave_id, sequence) VALUES (?,?)`
	addRule  = `INSERT INTO rule (rule_id, sequence) VALUES (?,?)`
	// The same of entries that another process left, read from their table.
	addMarks  = `INSERT INTO mark (sequence, chain, number, time_ns, rig, request_id, state) SELECT sequence, chain, number, time_ns, rig, request_id, state FROM entry`
	addLeaves = `INSERT INTO leave (leave_id, sequence) SELECT value, sequence FROM entry, json_each(leave_ids)`
	addRules  = `INSERT INTO rule (rule_id, sequence) SELECT value, sequence FROM entry, json_each(rule_ids)`
	// newestMark is up to where that was done, newestEntry where it will be.
	newestMark  = `SELECT coalesce(max(sequence), 0) FROM mark`
	newestEntry = `SELECT coalesce(max(sequence), 0) FROM entry`
)

// How many entries are marked at once, while a commit that comes meanwhile waits: few while it is quiet, and more, which share pages, where it never is.
// Measured, a disk in memory, entries of 64 chains, processor time of marks and of moving the log: 13–15 µs each by 256, 8–9 by 2,048; read
// from the table instead of from memory 16–18, and 13–14 by 1,024.
const (
	markStep   = 256
	markForced = 2048
	mostFresh  = 2048 // unmarked while somebody always waits: measured, 290 bytes of memory each, and its ids
)

// markTable marks the entries of the table beyond one sequence and up to another, all or none.
func markTable(ctx context.Context, conn *sql.Conn, beyond, upTo int64) (err error) {
	if _, err := conn.ExecContext(ctx, `BEGIN IMMEDIATE`); err != nil {
		return fmt.Errorf("beginning: %w", err)
	}
	defer func() {
		if err != nil {
			_, _ = conn.ExecContext(ctx, `ROLLBACK`) // the store is finished anyway; this frees the lock for others
		}
	}()
	for ; beyond < upTo; beyond += markStep { // so many that their pages stay in memory from one table to the next
		for _, add := range []string{addMarks, addLeaves, addRules} {
			if _, err := conn.ExecContext(ctx, add+` WHERE sequence > ? AND sequence <= ? ORDER BY sequence`, beyond, min(beyond+markStep, upTo)); err != nil {
				return err
			}
		}
	}
	if _, err := conn.ExecContext(ctx, `COMMIT`); err != nil {
		return fmt.Errorf("committing: %w", err)
	}
	return nil
}

// unmarked is an entry that has no mark yet: what goes into its marks.
type unmarked struct {
	sequence          int64
	number            uint64
	timeNanos         int64
	chain, rig        string
	requestID         string
	state             bool
	leaveIDs, ruleIDs []string
}

// mark marks entries, all or none.
func (w *writer) mark(rows []unmarked) error {
	ctx := context.Background()
	return w.within(func() error {
		for i := range rows {
			r := &rows[i]
			if err := w.addMark.run(ctx, r.sequence, r.chain, int64(r.number), r.timeNanos, r.rig, r.requestID, r.state); err != nil {
				return err
			}
		}
		for i := range rows { // one table after the other: their pages stay in memory
			for _, id := range rows[i].leaveIDs {
				if err := w.addLeave.run(ctx, id, rows[i].sequence); err != nil {
					return err
				}
			}
		}
		for i := range rows {
			for _, id := range rows[i].ruleIDs {
				if err := w.addRule.run(ctx, id, rows[i].sequence); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// fresh are the entries of this process that have no mark yet, by what they are looked up by. In a store that writes there are no others: opening
// it marks all there are. Safe for concurrent use.
type fresh struct {
	mu        sync.Mutex
	marked    int64         // all up to here have a mark
	sequences map[any]int64 // by spot, requestID, leaveID; of the first, where there are several
	rows      []unmarked    // in order
}

type (
	// spot is where an entry stands.
	spot struct {
		chain  string
		number uint64
	}
	requestID string
	leaveID   string
)

// forget forgets everything up to a sequence: it has its mark.
func (f *fresh) forget(marked int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.marked = marked
	f.rows = slices.Delete(f.rows, 0, f.count(marked))
	maps.DeleteFunc(f.sequences, func(_ any, sequence int64) bool { return sequence <= marked })
}

// count is how many of the rows go up to a sequence. Requires f.mu.
func (f *fresh) count(upTo int64) int {
	return sort.Search(len(f.rows), func(i int) bool { return f.rows[i].sequence > upTo })
}

// first are the rows up to a sequence, which stay as they are until they are forgotten.
func (f *fresh) first(upTo int64) []unmarked {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.rows[:f.count(upTo)]
}

// upTo is up to where all have a mark.
func (f *fresh) upTo() int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.marked
}

func (f *fresh) add(rows []Row) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.sequences == nil {
		f.sequences = map[any]int64{}
	}
	for i := range rows {
		r := &rows[i]
		f.rows = append(f.rows, unmarked{sequence: r.Sequence, number: r.Number, timeNanos: r.TimeNanos, chain: r.Chain, rig: r.Rig, requestID: r.RequestID,
			state: r.State, leaveIDs: slices.Clone(r.LeaveIDs), ruleIDs: slices.Clone(r.RuleIDs)}) // the lists are the caller's
		f.note(spot{r.Chain, r.Number}, r.Sequence)
		if r.RequestID != "" {
			f.note(requestID(r.RequestID), r.Sequence)
		}
		for _, id := range r.LeaveIDs {
			f.note(leaveID(id), r.Sequence)
		}
	}
}

// note requires f.mu.
func (f *fresh) note(what any, sequence int64) {
	if _, there := f.sequences[what]; !there {
		f.sequences[what] = sequence
	}
}

// sequence tells where an entry is, 0 where it is none of these.
func (f *fresh) sequence(what any) int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.sequences[what]
}

// mark marks the entries of this process up to a sequence.
func (s *Store) mark(upTo int64) error {
	if err := s.writer.mark(s.fresh.first(upTo)); err != nil {
		return s.markFailure(err)
	}
	s.fresh.forget(upTo)
	return nil
}

func (s *Store) markFailure(err error) error {
	return s.failed(ErrUntidy, "marking entries", err, "see that the disk has room and is sound, and that no other program locks the record")
}

// listed writes a list of ids as the column of an entry holds it.
func listed(ids []string) (string, error) {
	if len(ids) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(ids)
	return string(b), err
}
