package record_test

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// change runs statements on a record's file, as somebody with a database tool would.
func change(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	for _, s := range statements {
		_, err := db.Exec(s)
		require.NoError(t, err, s)
	}
	require.NoError(t, db.Close())
}

// otherFile is a whole record of five entries of the same chain that say something else.
func otherFile(t *testing.T) string {
	t.Helper()
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	write(t, r, "pier", 11, 12, 13, 14, 15)
	require.NoError(t, r.Close())
	return path
}

// tampered is what somebody may do to a whole file of five entries, and which entry is named for it (0: none), with which words.
func tampered(t *testing.T, first record.Entry) map[string]struct {
	statements []string
	number     uint64
	says       string
} {
	const from = `INSERT INTO entry SELECT * FROM other.entry WHERE number = `
	bytes := slices.Clone(first.Stored)
	previous := len("KCE1") + 4 + len(first.Chain) + 8 // where it stands in the entry
	bytes[previous] = 1
	forged := []string{fmt.Sprintf(`UPDATE entry SET head = x'%x', previous = x'%x', hash = x'%x' WHERE number = 1`,
		bytes[:len(bytes)-len(first.Body)], bytes[previous:previous+32], sha256.Sum256(bytes))}
	return map[string]struct {
		statements []string
		number     uint64
		says       string
	}{
		"one entry gone":            {[]string{`DELETE FROM entry WHERE number = 3`}, 3, "it is missing, 4 follows"},
		"the first gone":            {[]string{`DELETE FROM entry WHERE number = 1`}, 1, "it is missing, 2 follows"},
		"first names one before":    {forged, 1, "it is the first, yet names one before it"},
		"before the first":          {[]string{`UPDATE entry SET sequence = 0 WHERE number = 1`, `UPDATE mark SET sequence = 0 WHERE number = 1`, `UPDATE leave SET sequence = 0 WHERE sequence = 1`, `UPDATE rule SET sequence = 0 WHERE sequence = 1`}, 1, "it stands before its forerunner"},
		"one of another record":     {[]string{`ATTACH '` + otherFile(t) + `' AS other`, `DELETE FROM entry WHERE number = 3`, from + `3`, `UPDATE leave SET leave_id = 'pier-permit13' WHERE sequence = 3`}, 3, "it does not follow the entry before it"},
		"the last of another":       {[]string{`ATTACH '` + otherFile(t) + `' AS other`, `DELETE FROM entry WHERE number = 5`, from + `5`, `UPDATE leave SET leave_id = 'pier-permit15' WHERE sequence = 5`}, 5, "it does not follow the entry before it"},
		"moved behind its follower": {[]string{`UPDATE entry SET sequence = 99 WHERE number = 2`, `UPDATE mark SET sequence = 99 WHERE number = 2`, `UPDATE leave SET sequence = 99 WHERE sequence = 2`, `UPDATE rule SET sequence = 99 WHERE sequence = 2`}, 3, "it stands before its forerunner"},
		"a column":                  {[]string{`UPDATE entry SET rig = 'another' WHERE number = 4`}, 4, "its column rig is not what the entry says"},
		"a verdict":                 {[]string{`UPDATE entry SET verdict = 'deny' WHERE number = 4`}, 4, "its column verdict"},
		"a body":                    {[]string{`UPDATE entry SET body = x'00' WHERE number = 2`}, 2, "its hash does not fit its bytes"},
		"a body cut":                {[]string{`UPDATE entry SET body = substr(body, 1, 3) WHERE number = 2`}, 2, "its hash does not fit its bytes"},
		"a head":                    {[]string{`UPDATE entry SET head = x'00010203' WHERE number = 2`}, 2, "does not begin with"},
		"a hash":                    {[]string{`UPDATE entry SET hash = zeroblob(32) WHERE number = 5`}, 5, "its hash does not fit its bytes"},
		"leave not found":           {[]string{`DELETE FROM leave WHERE sequence = 4`}, 4, "it is not found by"},
		"rule not found":            {[]string{`DELETE FROM rule WHERE sequence = 4`}, 4, "it is not found by"},
		"a mark gone":               {[]string{`DELETE FROM mark WHERE number = 3`}, 3, "it is missing, 4 follows"},
		"a mark of another rig":     {[]string{`UPDATE mark SET rig = 'another' WHERE number = 4`}, 4, "it is not found by"},
		"of another time":           {[]string{`UPDATE mark SET time_ns = 1 WHERE number = 4`}, 4, "it is not found by"},
		"of another request":        {[]string{`UPDATE mark SET request_id = 'another' WHERE number = 4`}, 4, "it is not found by"},
		"of a request twice":        {[]string{`UPDATE mark SET request_id = (SELECT request_id FROM mark WHERE number = 4) WHERE number = 5`}, 4, "it is not found by"},
		"of a state that is none":   {[]string{`UPDATE mark SET state = 1 WHERE number = 4`}, 4, "it is not found by"},
		"a mark of nothing":         {[]string{`INSERT INTO mark VALUES (0, 'roof', 1, 0, '', '', 0)`}, 0, "the last entries of chain \"roof\" are missing: the record marks one that is not there); restore a copy"},
		"leave of nothing":          {[]string{`INSERT INTO leave VALUES ('made-up', 3)`}, 0, "marks of permits, leaves and locks, where its chains account for"},
		"rule of nothing":           {[]string{`INSERT INTO rule VALUES ('made/up', 3)`}, 0, "marks of rules, where its chains account for"},
	}
}

// TestRequestIDOfTwoEntries: two whole entries of one request id are found, however many of them have their marks.
func TestRequestIDOfTwoEntries(t *testing.T) {
	const unmarked = `DELETE FROM mark; DELETE FROM leave; DELETE FROM rule`
	for name, c := range map[string]struct {
		before string
		says   string
	}{
		"the second has no mark": {`SELECT 1`, "it is not found by its place, time, rig, request id"},
		"neither has":            {unmarked, "its request id \"roof-q1\" is that of another entry too"},
	} {
		t.Run(name, func(t *testing.T) {
			path, other := newPath(t), newPath(t)
			for path, d := range map[string]record.Draft{path: draft("roof", 1), other: draft("pier", 1)} {
				d.Request = draft("roof", 1).Request
				r, err := record.Open(path, record.Options{})
				require.NoError(t, err)
				w, err := r.Append(d, record.Head{})
				require.NoError(t, err)
				require.NoError(t, w.Wait())
				require.NoError(t, r.Close())
			}
			change(t, path, `ATTACH '`+other+`' AS other`, `UPDATE other.entry SET sequence = 2`, c.before, `INSERT INTO main.entry SELECT * FROM other.entry`)
			res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
			require.NoError(t, err)
			assert.False(t, res.Whole, res.Sentence)
			assert.Contains(t, res.Sentence, c.says)
			require.NotNil(t, res.FirstWrong)
			assert.EqualValues(t, 1, res.FirstWrong.Number)
		})
	}
}

// TestNoRequestIDIsNobodys: entries without one share nothing, though none has its mark.
func TestNoRequestIDIsNobodys(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	for n := range 2 {
		d := draft("roof", n)
		d.Request = record.Request{}
		w, err := r.Append(d, r.Head("roof"))
		require.NoError(t, err)
		require.NoError(t, w.Wait())
	}
	verifyWhole(t, r, 2)
}

// TestTamperedFileNamesTheEntry, found by verifying the file; where the chain is broken it does not open either.
func TestTamperedFileNamesTheEntry(t *testing.T) {
	_, _, whole := wholeFile(t, 1)
	for name, c := range tampered(t, whole[0]) {
		t.Run(name, func(t *testing.T) {
			path, _, _ := wholeFile(t, 5)
			change(t, path, c.statements...)
			res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
			require.NoError(t, err)
			assert.False(t, res.Whole)
			assert.Contains(t, res.Sentence, "Not whole: ")
			assert.Contains(t, res.Sentence, c.says)
			if c.number == 0 {
				assert.Nil(t, res.FirstWrong)
				return
			}
			require.NotNil(t, res.FirstWrong, res.Sentence)
			assert.Equal(t, c.number, res.FirstWrong.Number, res.Sentence)
			assert.Equal(t, "pier", res.FirstWrong.Chain)
			if r, err := record.Open(path, record.Options{}); err == nil {
				require.NoError(t, r.Close())
				assert.Contains(t, c.says, "not found by", "only what is looked up at need may open")
			} else {
				require.ErrorIs(t, err, record.ErrWrong)
				assert.ErrorContains(t, err, c.says)
			}
		})
	}
}

// TestTamperedEntryIsNotRead, whichever way it is asked for, while the record is open.
func TestTamperedEntryIsNotRead(t *testing.T) {
	for name, statement := range map[string]string{
		"body": `UPDATE entry SET body = x'00' WHERE number = 3`, "head": `UPDATE entry SET head = x'00' WHERE number = 3`,
		"column": `UPDATE entry SET verdict = 'hold' WHERE number = 3`,
	} {
		t.Run(name, func(t *testing.T) {
			path := newPath(t)
			r := open(t, path, record.Options{})
			written := write(t, r, "pier", 1, 2, 3, 4, 5)
			change(t, path, statement)
			_, err := r.Get(t.Context(), "pier", 3)
			require.ErrorIs(t, err, record.ErrWrong)
			var at *record.EntryError
			require.ErrorAs(t, err, &at)
			assert.Equal(t, uint64(3), at.Place.Number)
			_, err = r.ByRequestID(t.Context(), written[2].Request.ID)
			require.ErrorIs(t, err, record.ErrWrong)
			_, err = r.ByLeaveID(t.Context(), written[2].LeaveIDs[0])
			require.ErrorIs(t, err, record.ErrWrong)
			_, err = r.Append(draft("pier", 3), r.Head("pier"))
			require.ErrorIs(t, err, record.ErrWrong, "a repeat is not answered from it")
			_, _, err = r.List(t.Context(), record.Filter{}, record.Page{Size: 10})
			if name == "body" {
				require.NoError(t, err, "a listing reads no bodies")
			} else {
				require.ErrorIs(t, err, record.ErrWrong)
			}
			var seen []uint64
			for e, err := range r.Scan(t.Context(), "pier", 1) {
				if err != nil {
					require.ErrorIs(t, err, record.ErrWrong)
					seen = append(seen, 0)
					continue
				}
				seen = append(seen, e.Number)
			}
			assert.Equal(t, []uint64{1, 2, 0}, seen, "the error is the last that is yielded")
			seen = nil
			for _, err := range r.Scan(t.Context(), "pier", 3) {
				require.ErrorIs(t, err, record.ErrWrong)
				seen = append(seen, 0)
			}
			assert.Equal(t, []uint64{0}, seen, "where it is the first, too")
			f, err := r.Follow(t.Context(), record.Filter{}, []record.Place{written[0].Place()})
			require.NoError(t, err)
			_, err = f.Next(t.Context())
			require.ErrorIs(t, err, record.ErrWrong, "a page of the follower is whole or none")
			f, err = r.Follow(t.Context(), record.Filter{}, []record.Place{written[3].Place()})
			require.NoError(t, err)
			e, err := f.Next(t.Context())
			require.NoError(t, err, "who begins behind it does not read it")
			assert.Equal(t, uint64(5), e.Number)
		})
	}
}

// TestCutTailIsToldByAReceipt alone: what is left is a whole record.
func TestCutTailIsToldByAReceipt(t *testing.T) {
	path, _, written := wholeFile(t, 5)
	change(t, path, `DELETE FROM entry WHERE number > 3`, `DELETE FROM mark WHERE sequence > 3`, `DELETE FROM leave WHERE sequence > 3`, `DELETE FROM rule WHERE sequence > 3`)
	verify := func(receipts ...record.Place) record.Result {
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: receipts}, store.Options{})
		require.NoError(t, err)
		return res
	}
	res := verify()
	assert.True(t, res.Whole)
	assert.Equal(t, "The record is whole: 3 entries in 1 chain.", res.Sentence)
	assert.Equal(t, []record.Place{written[2].Place()}, res.Heads)
	res = verify(written[2].Place())
	assert.Equal(t, "The record is whole: 3 entries in 1 chain, and 1 receipt found in it.", res.Sentence)
	res = verify(written[1].Place(), written[2].Place())
	assert.Equal(t, "The record is whole: 3 entries in 1 chain, and 2 receipts found in it.", res.Sentence)
	res = verify(written[2].Place(), written[4].Place())
	assert.False(t, res.Whole)
	assert.Equal(t, uint64(5), res.FirstWrong.Number)
	assert.Contains(t, res.Sentence, "it ends before this one")
	other := written[2].Place()
	other.Hash[0] ^= 1
	res = verify(other)
	assert.Equal(t, uint64(3), res.FirstWrong.Number)
	assert.Contains(t, res.Sentence, "another entry stands in its place")
	_, err := record.Open(path, record.Options{Receipts: []record.Place{written[4].Place()}})
	require.ErrorIs(t, err, record.ErrLost)
}

// TestVerifyOneChain of several, one that is not there, and one entry.
func TestVerifyOneChain(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	write(t, r, "pier", 1)
	roof := write(t, r, "roof", 1, 2)
	res, err := r.Verify(t.Context(), record.VerifyOptions{Chain: "roof"})
	require.NoError(t, err)
	assert.Equal(t, "The record is whole: 2 entries in 1 chain.", res.Sentence)
	assert.Equal(t, []record.Place{roof[1].Place()}, res.Heads)
	res, err = r.Verify(t.Context(), record.VerifyOptions{})
	require.NoError(t, err)
	assert.Equal(t, "The record is whole: 3 entries in 2 chains.", res.Sentence)
	res, err = r.Verify(t.Context(), record.VerifyOptions{Chain: "pier"})
	require.NoError(t, err)
	assert.Equal(t, "The record is whole: 1 entry in 1 chain.", res.Sentence)
	res, err = r.Verify(t.Context(), record.VerifyOptions{Chain: "shed"})
	require.NoError(t, err)
	assert.False(t, res.Whole)
	assert.Contains(t, res.Sentence, `chain "shed"`)
	over, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = r.Verify(over, record.VerifyOptions{})
	require.ErrorIs(t, err, context.Canceled, "cut short is not verified")
}

// TestProgressIsToldNowAndThen, and an owner whose fold fails is told with the entry.
func TestProgressIsToldNowAndThen(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	write(t, r, "pier", numbers(300)...)
	var told []uint64
	res, err := r.Verify(t.Context(), record.VerifyOptions{Progress: func(n uint64) { told = append(told, n) }})
	require.NoError(t, err)
	assert.True(t, res.Whole)
	assert.Equal(t, []uint64{128, 256}, told)
	res, err = r.Verify(t.Context(), record.VerifyOptions{Fold: func(string) record.Folder { return balking{} }})
	require.NoError(t, err)
	assert.Equal(t, uint64(1), res.FirstWrong.Number)
	assert.Contains(t, res.Sentence, "cannot fold")
}

type balking struct{}

func (balking) Apply(record.Entry) error { return errors.New("cannot fold") }
func (balking) State() ([]byte, error)   { return nil, errors.New("no state") }

// stateless folds and cannot tell what came of it.
type stateless struct{ balking }

func (stateless) Apply(record.Entry) error { return nil }

// TestStateThatCannotBeRecomputed is not whole: what it should be is unknown.
func TestStateThatCannotBeRecomputed(t *testing.T) {
	r := open(t, newPath(t), record.Options{StateEvery: 3, State: func(string, record.Head) []byte { return []byte{} }})
	write(t, r, "pier", 1, 2, 3)
	res, err := r.Verify(t.Context(), record.VerifyOptions{Fold: func(string) record.Folder { return stateless{} }})
	require.NoError(t, err)
	assert.False(t, res.Whole)
	require.NotNil(t, res.FirstWrong)
	assert.Equal(t, uint64(3), res.FirstWrong.Number)
	assert.Contains(t, res.Sentence, "no state")
}

// TestVerifyFileChangesNothing and says of what it cannot read why.
func TestVerifyFileChangesNothing(t *testing.T) {
	_, err := record.VerifyFile(t.Context(), newPath(t), record.VerifyOptions{}, store.Options{})
	assert.Error(t, err, "no file: nothing was verified, and none is made")
	path, _, _ := wholeFile(t, 2)
	change(t, path, `PRAGMA user_version = 0`)
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
	assert.True(t, err != nil || !res.Whole, "a file of an unknown make is not whole")
}

// TestVerifyFileThatCannotBeRead says so as what was found: it is the file that is at fault, not the question.
func TestVerifyFileThatCannotBeRead(t *testing.T) {
	path, file, _ := wholeFile(t, 2)
	disk := &faults.Disk{}
	var res record.Result
	for n, err := 1, store.ErrOpen; err != nil; n++ {
		require.ErrorIs(t, err, store.ErrOpen, "the first reads are of the connection's own settings")
		disk.FailAtOnly("read", n, faults.Before, true)
		res, err = record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{Wrap: disk.Wrap})
	}
	assert.False(t, res.Whole)
	assert.Contains(t, res.Sentence, "The file cannot be read: ")
	assert.Contains(t, res.Sentence, "injected fault")
	copy(file[100:], []byte{0xff, 0xff, 0xff, 0xff}) // the kind of the first page, SQLite file format, section 1.6
	require.NoError(t, os.WriteFile(path, file, 0o600))
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
	require.NoError(t, err)
	assert.False(t, res.Whole)
	assert.Nil(t, res.FirstWrong)
	assert.Contains(t, res.Sentence, "The file cannot be read: ")
}

// TestScanFromAnywhere within the chain; beyond its head there is nothing, and who has seen enough stops.
func TestScanFromAnywhere(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	write(t, r, "pier", 1, 2, 3)
	scan := func(chain string, from uint64, most int) (got []uint64) {
		for e, err := range r.Scan(t.Context(), chain, from) {
			require.NoError(t, err)
			if got = append(got, e.Number); len(got) == most {
				break
			}
		}
		return got
	}
	for from, want := range map[uint64][]uint64{0: {1, 2, 3}, 1: {1, 2, 3}, 2: {2, 3}, 3: {3}, 4: nil, 99: nil} {
		assert.Equal(t, want, scan("pier", from, 9), "from %d", from)
	}
	assert.Equal(t, []uint64{1}, scan("pier", 1, 1))
	assert.Empty(t, scan("roof", 0, 9))
}

// TestScanEndsWithItsHead: what is appended meanwhile is not in it, and it reads a page at a time.
func TestScanEndsWithItsHead(t *testing.T) {
	disk := &faults.Disk{}
	r := open(t, newPath(t), record.Options{Store: store.Options{Wrap: disk.Wrap}})
	write(t, r, "pier", numbers(130)...)
	last, reads := uint64(0), 0
	for e, err := range r.Scan(t.Context(), "pier", 1) {
		require.NoError(t, err)
		if last = e.Number; last == 1 {
			write(t, r, "pier", 131, 132)
			disk.FailAtOnly("read", 0, faults.Before, false)
		}
		reads = disk.Count()
	}
	assert.Equal(t, uint64(130), last)
	assert.Equal(t, 1, reads, "128 entries in the first page, the rest in the second")
}

// TestChainChangedBehindTheRecord's back, while it is open: a scan that does not end with the head that was answered ends with an error.
func TestChainChangedBehindTheRecord(t *testing.T) {
	path, _, _ := wholeFile(t, 4)
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	other := newPath(t)
	require.NoError(t, os.WriteFile(other, file, 0o600))
	fork, err := record.Open(other, record.Options{})
	require.NoError(t, err)
	write(t, fork, "pier", 15)
	require.NoError(t, fork.Close())
	for says, statements := range map[string][]string{
		"it is missing":      {`DELETE FROM entry WHERE number = 5`},
		"it is not the head": {`ATTACH '` + other + `' AS other`, `DELETE FROM entry WHERE number = 5`, `INSERT INTO entry SELECT * FROM other.entry WHERE number = 5`},
	} {
		require.NoError(t, os.WriteFile(path, file, 0o600))
		r := open(t, path, record.Options{})
		write(t, r, "pier", 5)
		change(t, path, statements...)
		var last error
		for _, err := range r.Scan(t.Context(), "pier", 1) {
			require.NoError(t, last, "the error is the last")
			last = err
		}
		require.ErrorIs(t, last, record.ErrWrong, says)
		require.ErrorContains(t, last, says)
		var at *record.EntryError
		require.ErrorAs(t, last, &at)
		assert.Equal(t, uint64(5), at.Place.Number)
		require.NoError(t, r.Close())
	}
}

// TestNothingIsReadFromAClosedRecord: each way of reading is an error, never an empty answer.
func TestNothingIsReadFromAClosedRecord(t *testing.T) {
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	written := write(t, r, "pier", 1)
	require.NoError(t, r.Close())
	ctx := t.Context()
	for name, read := range map[string]func() error{
		"get":     func() error { _, err := r.Get(ctx, "pier", 1); return err },
		"request": func() error { _, err := r.ByRequestID(ctx, written[0].Request.ID); return err },
		"leave":   func() error { _, err := r.ByLeaveID(ctx, written[0].LeaveIDs[0]); return err },
		"state":   func() error { _, err := r.LastState(ctx, "pier"); return err },
		"list":    func() error { _, _, err := r.List(ctx, record.Filter{}, record.Page{Size: 1}); return err },
		"follow":  func() error { _, err := r.Follow(ctx, record.Filter{}, nil); return err },
		"verify":  func() error { _, err := r.Verify(ctx, record.VerifyOptions{}); return err },
		"scan": func() (out error) {
			for _, err := range r.Scan(ctx, "pier", 1) {
				out = err
			}
			return out
		},
	} {
		require.ErrorIs(t, read(), record.ErrClosed, name)
	}
	require.NoError(t, r.Close(), "closed twice")
}

// TestAbsentIsSaid of what is not there, and a chain without a state entry has none.
func TestAbsentIsSaid(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	write(t, r, "pier", 1)
	_, err := r.Get(t.Context(), "pier", 2)
	require.ErrorIs(t, err, record.ErrAbsent)
	_, err = r.LastState(t.Context(), "pier")
	require.ErrorIs(t, err, record.ErrAbsent)
	_, err = r.ByRequestID(t.Context(), "unheard of")
	require.ErrorIs(t, err, record.ErrAbsent)
	_, err = r.ByLeaveID(t.Context(), "unheard of")
	require.ErrorIs(t, err, record.ErrAbsent)
}
