package main

import (
	"context"
	"database/sql"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	_ "modernc.org/sqlite" // a person's shell

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// outage is something that befalls the record of a running service.
type outage struct {
	root  bool // only root can bring it about
	begin func(t *testing.T, path string) (end func())
	says  string // in the refusal
}

// outages are what befalls it, each with its end, after which the service must go on by itself.
func outages() map[string]outage {
	return map[string]outage{
		"renamed": {says: "replaced", begin: func(t *testing.T, path string) func() {
			require.NoError(t, os.Rename(path, path+".kept"))
			return func() { require.NoError(t, os.Rename(path+".kept", path)) }
		}},
		"unlinked": {says: "replaced", begin: func(t *testing.T, path string) func() {
			require.NoError(t, os.Link(path, path+".kept"))
			require.NoError(t, os.Remove(path))
			return func() {
				require.NoError(t, os.Link(path+".kept", path))
				require.NoError(t, os.Remove(path+".kept")) // by two names it would not be opened
			}
		}},
		"replaced by another": {says: "replaced", begin: func(t *testing.T, path string) func() {
			require.NoError(t, os.Rename(path, path+".kept"))
			content, err := os.ReadFile(path + ".kept")
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, content, 0o600))
			return func() { require.NoError(t, os.Rename(path+".kept", path)) }
		}},
		"its folder renamed": {says: "replaced", begin: func(t *testing.T, path string) func() {
			dir := filepath.Dir(path)
			require.NoError(t, os.Rename(dir, dir+".kept"))
			return func() { require.NoError(t, os.Rename(dir+".kept", dir)) }
		}},
		"mounted over": {root: true, says: "replaced", begin: func(t *testing.T, path string) func() {
			other := path + ".other"
			require.NoError(t, os.WriteFile(other, nil, 0o600))
			require.NoError(t, syscall.Mount(other, path, "", syscall.MS_BIND, ""))
			return func() { require.NoError(t, syscall.Unmount(path, 0)) }
		}},
		"locked by a person's shell": {says: "locked", begin: func(t *testing.T, path string) func() {
			db, err := sql.Open("sqlite", path)
			require.NoError(t, err)
			conn, err := db.Conn(t.Context())
			require.NoError(t, err)
			_, err = conn.ExecContext(t.Context(), "BEGIN EXCLUSIVE")
			require.NoError(t, err)
			return func() {
				_, err := conn.ExecContext(context.Background(), "ROLLBACK")
				require.NoError(t, err)
				require.NoError(t, conn.Close())
				require.NoError(t, db.Close())
			}
		}},
	}
}

// TestOutages (faults.md, rows 30 and 33): the record of the running service is taken away or locked. The next asker is
// refused within the service's own bound, with the file and the cause; stopping works and names the permit that is out there; once it is over
// the service goes on without a restart, and all that was answered is on record.
func TestOutages(t *testing.T) {
	t.Parallel()
	for name, o := range outages() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if o.root && os.Getuid() != 0 {
				t.Skip("mounting takes root")
			}
			meet(t, o)
		})
	}
}

func meet(t *testing.T, o outage) {
	s := newStand(t, "", rigFolder(t))
	dir := filepath.Join(filepath.Dir(s.path), "record")
	require.NoError(t, os.Mkdir(dir, 0o700))
	s.path = filepath.Join(dir, "record.keepclear")
	s.start()
	s.must(homedAt(s, 0, 0))
	permit := s.must(turn(t, s.rig, 5, 5)).(*pb.AskResponse).GetPermit().GetPermitId()
	end := o.begin(t, s.path)
	q := turn(t, s.rig, -5, 5)
	q.ReplacesPermitId = permit
	s.by = []faults.Tamper{{}} // none of strace's: what it says is asserted here
	_, err := s.call(q)
	require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	assert.ErrorContains(t, err, s.path)
	assert.ErrorContains(t, err, o.says)
	require.True(t, s.withdraw(), "the process lives")
	_, err = s.call(lock("heron"))
	assert.Equal(t, codes.Unavailable, status.Code(err), "a lock that is not on record is none: %v", err)
	end()
	s.recovers(nil)
	assert.Empty(t, s.gather().judge()) // that stopping named the permit is there too
}

// TestStartsThatAreRefused (faults.md, rows 31, 32, 34): a record that cannot be kept is refused at the start, with its path, the cause and what to do,
// and is left as it was.
func TestStartsThatAreRefused(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	base.kill()
	for name, c := range map[string]struct {
		root bool
		harm func(t *testing.T, path string) (undo func())
		says []string
	}{
		"from a newer version": {harm: func(t *testing.T, path string) func() {
			versioned(t, path, 4)
			return func() { versioned(t, path, 3) }
		}, says: []string{"newer version", "version 4", "knows up to 3", "use the newer program"}},
		"with a folder where its heads are kept": {harm: func(t *testing.T, path string) func() {
			_ = os.Remove(path + "-heads")
			require.NoError(t, os.Mkdir(path+"-heads", 0o700))
			return func() { require.NoError(t, os.Remove(path+"-heads")) }
		}, says: []string{"keeping the heads of the record", "take away what bears that name"}},
		"immutable": {root: true, harm: func(t *testing.T, path string) func() {
			run1(t, "chattr", "+i", path)
			t.Cleanup(func() { run1(t, "chattr", "-i", path) })
			return func() { run1(t, "chattr", "-i", path) }
		}, says: []string{"operation not permitted", "may write to it"}},
		"on a disk that is read only": {root: true, harm: func(t *testing.T, path string) func() {
			dir := filepath.Dir(path)
			require.NoError(t, syscall.Mount(dir, dir, "", syscall.MS_BIND, ""))
			require.NoError(t, syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_BIND|syscall.MS_RDONLY, ""))
			undo := func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }
			t.Cleanup(undo)
			return undo
		}, says: []string{"read-only file system", "may write to"}},
		"in the hands of a service that is stopped": {harm: func(t *testing.T, path string) func() {
			first := &stand{t: t, rigs: base.rigs, rig: base.rig, path: path}
			first.start()
			require.NoError(t, first.cmd.Process.Signal(syscall.SIGSTOP))
			return func() { // the late writer goes on, and nothing forked
				require.NoError(t, first.cmd.Process.Signal(syscall.SIGCONT))
				first.must(turn(t, first.rig, 5, 5))
				first.kill()
			}
		}, says: []string{"in use by another service", "stop the other service"}},
	} {
		t.Run(name, func(t *testing.T) {
			if c.root && os.Getuid() != 0 {
				t.Skip("takes root")
			}
			s := base.copied(t)
			undo := c.harm(t, s.path)
			s.launch()
			require.False(t, s.answers(), "it serves")
			assert.Equal(t, exitCheck, s.cmd.ProcessState.ExitCode())
			for _, says := range append(c.says, s.path) {
				assert.Contains(t, s.out.String(), says)
			}
			undo()
			assert.Empty(t, s.gather().judge(), "once it is undone it starts, and has what was answered")
		})
	}
}

// versioned sets the schema's number in a record's header.
func versioned(t *testing.T, path string, n int) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte{0, 0, 0, byte(n)}, 60) // SQLite's file format, section 1.3: user version, big-endian
	require.NoError(t, err)
	require.NoError(t, f.Close())
}

// TestFirstStartOnAFullDisk: nothing is made by halves, the start says that there is no room, and works once there is.
func TestFirstStartOnAFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small file system takes root")
	}
	s := newStand(t, "", rigFolder(t))
	dir := filepath.Dir(s.path)
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=256k"))
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	for _, room := range []int{0, 8 << 10, 40 << 10} { // pages of 4 KiB: of nothing, of the header, of a part of the log
		ballast := filepath.Join(dir, "ballast")
		fill(t, ballast)
		info, err := os.Stat(ballast)
		require.NoError(t, err)
		require.NoError(t, os.Truncate(ballast, info.Size()-int64(room)))
		s.launch()
		require.False(t, s.answers(), "it serves with room for %d bytes", room)
		assert.Equal(t, exitCheck, s.cmd.ProcessState.ExitCode())
		assert.Contains(t, s.out.String(), s.path)
		assert.Contains(t, s.out.String(), "room")
		require.NoError(t, os.Remove(ballast))
	}
	s.start()
	s.must(homedAt(s, 0, 0))
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	assert.NotEmpty(t, left)
	assert.Empty(t, s.gather().judge())
}

// run1 runs a program that must succeed.
func run1(t testing.TB, name string, args ...string) {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
}
