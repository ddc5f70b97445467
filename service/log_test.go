package main

import (
	"bytes"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// gate lets writes through while it is open.
type gate struct {
	open chan struct{}
	done chan string
}

func (g *gate) Write(p []byte) (int, error) {
	<-g.open
	g.done <- string(p)
	return len(p), nil
}

// A log that nobody reads keeps no caller: lines are left out until somebody does, and how many is told before the next one.
func TestLogThatNobodyReads(t *testing.T) {
	g := &gate{make(chan struct{}), make(chan string, 9)}
	late := make(chan time.Time)
	close(late)
	p := newPatient(g, func(time.Duration) <-chan time.Time { return late })
	log := slog.New(slog.NewTextHandler(p, nil))
	for _, w := range []string{"first", "second", "third"} {
		log.Warn(w)
	}
	close(g.open)
	assert.Contains(t, <-g.done, "first")
	p.turn <- struct{}{} // its writer has gone
	<-p.turn
	p.after = time.After
	log.Warn("fourth")
	fourth := <-g.done
	assert.Regexp(t, `^level=WARN msg="lines of this log are left out, as nobody read it" lines=2\ntime=.*msg=fourth\n$`, fourth)
	log.Warn("fifth")
	assert.NotContains(t, <-g.done, "left out")
}

// Whoever reads the log may go, or stand still: the service answers past its next line, and ends when it is told to.
func TestReaderOfTheLogGoesOrStandsStill(t *testing.T) {
	for what, spoil := range map[string]func(t *testing.T, r, w *os.File){
		"goes": func(t *testing.T, r, _ *os.File) { require.NoError(t, r.Close()) },
		"stands still": func(t *testing.T, _, w *os.File) {
			fd := int(w.Fd())
			require.NoError(t, unix.SetNonblock(fd, true))
			for n := 1; n > 0; {
				n, _ = unix.Write(fd, make([]byte, 4096))
			}
			require.NoError(t, unix.SetNonblock(fd, false)) // the service's own end is the same file
		},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			r, w, err := os.Pipe()
			require.NoError(t, err)
			t.Cleanup(func() { _, _ = r.Close(), w.Close() })
			record, out := filepath.Join(t.TempDir(), "r.keepclear"), &text{}
			c := exec.Command(os.Args[0], "serve", "--listen", "127.0.0.1:0", "--practice", "heron", "--record", record)
			c.Env = append(os.Environ(), childMark+"=1")
			c.Stdout, c.Stderr = out, w
			require.NoError(t, c.Start())
			t.Cleanup(func() { _ = c.Process.Kill() })
			conn := connect(t, addressIn(t, out))
			defer conn.Close()
			if what == "goes" {
				require.NoError(t, w.Close())
			}
			spoil(t, r, w)
			require.NoError(t, os.Rename(record, record+".away"))
			for range 2 { // neither can be recorded, which the log is told
				_, err = pb.NewMotionServiceClient(conn).Report(t.Context(), &pb.ReportRequest{Rig: "heron"})
				require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			}
			_, err = pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
			require.NoError(t, err)
			require.NoError(t, os.Rename(record+".away", record))
			require.NoError(t, c.Process.Signal(syscall.SIGTERM))
			assert.NoError(t, c.Wait())
			assert.Contains(t, out.String(), "keepclear stopped")
		})
	}
}

// A pipe where a file should be is refused by name: to open it would wait for ever.
func TestPipeInPlaceOfAFile(t *testing.T) {
	dir := rigFolder(t)
	record := filepath.Join(t.TempDir(), "r.keepclear")
	for what, c := range map[string]struct {
		at   string
		args []string
		says string
	}{
		"a rig file":       {filepath.Join(dir, "x.yaml"), []string{"serve", "--rigs", dir, "--record", record}, "x.yaml is no ordinary file"},
		"the record":       {record, []string{"serve", "--practice", "heron", "--record", record}, "it is no ordinary file"},
		"a record to read": {record, []string{"verify", record}, "no ordinary file"},
	} {
		t.Run(what, func(t *testing.T) {
			require.NoError(t, unix.Mkfifo(c.at, 0o600))
			defer os.Remove(c.at)
			var out, err bytes.Buffer
			assert.Equal(t, exitCheck, run(t.Context(), c.args, nil, &out, &err, time.Now))
			assert.Contains(t, err.String(), c.says)
		})
	}
	t.Run("the heads", func(t *testing.T) {
		_, stop := served(t, "--practice", "heron", "--record", record)
		stop()
		require.NoError(t, os.Remove(record+"-heads"))
		require.NoError(t, unix.Mkfifo(record+"-heads", 0o600))
		_, stop = served(t, "--practice", "heron", "--record", record)
		_, said := stop()
		assert.Contains(t, said, "LOCKED: every rig")
		assert.Contains(t, said, "it is no ordinary file")
	})
}
