package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"sync"
)

// What puts entries into the tables by which they are found. Each index would else cost every commit a page of its own; some dozens of rows at once
// share theirs.
const (
	addMarks  = `INSERT INTO mark (sequence, chain, number, time_ns, rig, request_id, state) SELECT sequence, chain, number, time_ns, rig, request_id, state FROM entry`
	addLeaves = `INSERT INTO leave (leave_id, sequence) SELECT value, sequence FROM entry, json_each(leave_ids)`
	addRules  = `INSERT INTO rule (rule_id, sequence) SELECT value, sequence FROM entry, json_each(rule_ids)`
	// newestMark is up to where that was done.
	newestMark = `SELECT coalesce(max(sequence), 0) FROM mark`
)

// mark marks all entries that have no mark yet, on the connection that writes, and returns up to where all have one.
func mark(ctx context.Context, conn *sql.Conn) (marked int64, err error) {
	var newest int64
	if err := conn.QueryRowContext(ctx, `SELECT (`+newestMark+`), (SELECT coalesce(max(sequence), 0) FROM entry)`).Scan(&marked, &newest); err != nil || marked >= newest {
		return marked, err
	}
	if _, err := conn.ExecContext(ctx, `BEGIN IMMEDIATE`); err != nil {
		return marked, fmt.Errorf("beginning: %w", err)
	}
	for _, add := range []string{addMarks, addLeaves, addRules} {
		if _, err := conn.ExecContext(ctx, add+` WHERE sequence > ? ORDER BY sequence`, marked); err != nil {
			_, _ = conn.ExecContext(ctx, `ROLLBACK`) // the store is finished anyway; this frees the lock for others
			return marked, err
		}
	}
	if _, err := conn.ExecContext(ctx, `COMMIT`); err != nil {
		return marked, fmt.Errorf("committing: %w", err)
	}
	err = conn.QueryRowContext(ctx, newestMark).Scan(&marked)
	return marked, err
}

// fresh are the entries of this process that have no mark yet, by what they are looked up by. In a store that writes there are no others: opening
// it marks all there are. Safe for concurrent use.
type fresh struct {
	mu        sync.Mutex
	marked    int64         // all up to here have a mark
	sequences map[any]int64 // by spot, requestID, leaveID; of the first, where there are several
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

// reset forgets all: everything up to a sequence has its mark.
func (f *fresh) reset(marked int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.marked, f.sequences = marked, map[any]int64{}
}

func (f *fresh) add(rows []Row) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := range rows {
		r := &rows[i]
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

// listed writes a list of ids as the column of an entry holds it.
func listed(ids []string) (string, error) {
	if len(ids) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(ids)
	return string(b), err
}
