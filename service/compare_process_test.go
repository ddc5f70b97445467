package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/mem"
)

// process is a server under comparison, in a process of its own.
type process struct {
	cmd     *exec.Cmd
	address string
}

// launch runs a program that will listen on the address, with its output in a file, and waits until it takes connections. It returns how
// long after it was started a connection was taken.
func launch(t testing.TB, log, address, program string, env []string, args ...string) (*process, time.Time) {
	t.Helper()
	out, err := os.Create(log)
	require.NoError(t, err)
	c := exec.Command(program, args...)
	c.Env, c.Stdout, c.Stderr = append(os.Environ(), env...), out, out
	began := time.Now()
	require.NoError(t, c.Start())
	p := &process{cmd: c, address: address}
	t.Cleanup(p.stop)
	t.Cleanup(func() { _ = out.Close() })
	for deadline := began.Add(60 * time.Second); ; time.Sleep(time.Millisecond) {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			_ = conn.Close()
			return p, began
		}
		if time.Now().After(deadline) {
			text, _ := os.ReadFile(log)
			require.NoError(t, err, "nobody listens: %s", text)
		}
	}
}

// stop ends the process; the second time it does nothing.
func (p *process) stop() {
	if p.cmd.ProcessState == nil {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	}
}

// clockTick is the unit of /proc/PID/stat: Linux has told 100 a second to every program since 2.4 (proc(5), sysconf(3)).
const clockTick = 10 * time.Millisecond

// used is the processor time that the process has used.
func (p *process) used() time.Duration {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	f := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+1:]))
	user, _ := strconv.Atoi(f[11])
	system, _ := strconv.Atoi(f[12])
	return time.Duration(user+system) * clockTick
}

// resident is how much memory it takes, bytes.
func (p *process) resident() int {
	b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	_, rest, _ := strings.Cut(string(b), "VmRSS:")
	n, _ := strconv.Atoi(strings.Fields(rest + " 0")[0])
	return n << 10
}

// freeAddress is a loopback address on which nobody listens.
func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// compiled is a program built from a package; the go command keeps what it built before.
func compiled(t testing.TB, name string, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	c := exec.Command("go", append([]string{"build", "-o", path}, args...)...)
	c.Dir = ".."
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s", out)
	return path
}

// echoMark turns the test binary into a bare echo: it holds the address, and the size of each reply.
const echoMark = "KEEPCLEAR_TEST_ECHO"

// rawCodec passes bytes as they are.
type rawCodec struct{}

func (rawCodec) Name() string { return "proto" }

func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(*v.(*[]byte))}, nil
}

func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

// echoMethod is the one method of the echo.
const echoMethod = "/test.Echo/Echo"

// echo answers every request with bytes of the size that it was told, until it is killed.
func echo(mark string) error {
	address, size, _ := strings.Cut(mark, " ")
	n, err := strconv.Atoi(size)
	if err != nil {
		return err
	}
	reply := make([]byte, n)
	l, err := net.Listen("tcp", address)
	if err != nil {
		return err
	}
	s := grpc.NewServer(grpc.ForceServerCodecV2(rawCodec{}))
	s.RegisterService(&grpc.ServiceDesc{ServiceName: "test.Echo", Methods: []grpc.MethodDesc{{
		MethodName: "Echo",
		Handler: func(_ any, _ context.Context, dec func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
			var asked []byte
			if err := dec(&asked); err != nil {
				return nil, err
			}
			out := append([]byte(nil), reply...)
			binary.BigEndian.PutUint32(out, uint32(len(asked)))
			return &out, nil
		},
	}}}, nil)
	return s.Serve(l)
}

// echoed asks the echo once.
func echoed(ctx context.Context, conn *grpc.ClientConn, request []byte, size int) (time.Duration, error) {
	var reply []byte
	began := time.Now()
	err := conn.Invoke(ctx, echoMethod, &request, &reply, grpc.ForceCodecV2(rawCodec{}))
	took := time.Since(began)
	if err == nil && (len(reply) != size || int(binary.BigEndian.Uint32(reply)) != len(request)) {
		err = errors.New("the echo did not echo")
	}
	return took, err
}

// profileMark names a folder for the profiles of a test binary that serves as the service.
const profileMark = "KEEPCLEAR_PROFILE"

// profiled runs f and writes profiles of it; without the mark it only runs it.
func profiled(f func() int) int {
	dir := os.Getenv(profileMark)
	if dir == "" {
		return f()
	}
	cpu, err := os.Create(filepath.Join(dir, "cpu.pprof"))
	if err == nil {
		runtime.SetBlockProfileRate(int(time.Microsecond))
		runtime.SetMutexProfileFraction(10)
		err = pprof.StartCPUProfile(cpu)
	}
	code := f()
	pprof.StopCPUProfile()
	for _, kind := range []string{"allocs", "block", "mutex"} {
		out, failed := os.Create(filepath.Join(dir, kind+".pprof"))
		if failed == nil {
			failed = pprof.Lookup(kind).WriteTo(out, 0)
		}
		err = errors.Join(err, failed)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "profiling:", err)
	}
	return code
}
