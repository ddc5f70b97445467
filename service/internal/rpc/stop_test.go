package rpc_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// asked is what one asker saw.
type asked struct {
	id      string
	receipt *pb.Receipt
	err     error
}

// Told to stop in the middle of 200 askers: whoever was answered is on record under the hash that the receipt names, and everybody else
// was told that the service is not there. A reply that the end of the grace cut off may be on record: its asker sends the same id again.
func TestStopInTheMiddleOfAskers(t *testing.T) {
	const askers = 200
	b := newBench(t)
	b.ready()
	answers := make(chan asked, askers)
	var wg sync.WaitGroup
	for range askers {
		q := b.slew(30, 40)
		wg.Go(func() {
			out, err := b.motion.Ask(t.Context(), q)
			answers <- asked{q.GetRequestId(), out.GetReceipt(), err}
		})
	}
	var all []asked
	for range askers / 8 {
		all = append(all, <-answers)
	}
	require.NoError(t, b.stop())
	wg.Wait()
	close(answers)
	for a := range answers {
		all = append(all, a)
	}
	require.NoError(t, b.rec.Close())

	rec, err := record.Open(b.path, record.Options{})
	require.NoError(t, err)
	defer rec.Close()
	answered, cut := 0, 0
	for _, a := range all {
		w, err := rec.ByRequestID(t.Context(), a.id)
		if a.err != nil {
			assert.Equal(t, codes.Unavailable, status.Code(a.err), "%v", a.err)
			if !errors.Is(err, record.ErrAbsent) {
				require.NoError(t, err)
				assert.Equal(t, a.id, w.Entry.Request.ID)
				cut++
			}
			continue
		}
		answered++
		require.NoError(t, err, "%s was answered", a.id)
		assert.Equal(t, a.receipt.GetEntrySha256(), w.Entry.Hash[:])
	}
	assert.GreaterOrEqual(t, answered, askers/8)
	t.Logf("%d of %d were answered, %d replies were cut off", answered, askers, cut)
	res, err := record.VerifyFile(t.Context(), b.path, record.VerifyOptions{Fold: state.NewFold}, store.Options{})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
}

// A stop does not wait for those who follow: their streams end with it, and say why.
func TestStopEndsStreams(t *testing.T) {
	b := newBench(t)
	never := make(chan time.Time)
	b.after = func(time.Duration) <-chan time.Time { return never } // a grace that is used would never end
	s, err := b.reads.FollowEntries(t.Context(), &pb.FollowEntriesRequest{})
	require.NoError(t, err)
	_, err = s.Header()
	require.NoError(t, err)
	require.NoError(t, b.stop())
	for err == nil {
		_, err = s.Recv()
	}
	assert.Equal(t, codes.Unavailable, status.Code(err))
	assert.Equal(t, "NOT_SERVING", reason(err))
	_, err = b.motion.Ask(t.Context(), b.slew(30, 40))
	assert.Equal(t, codes.Unavailable, status.Code(err))
}
