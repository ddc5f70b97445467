package faults

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"syscall"
)

// Tamper is what strace does from outside to some system calls of a process, without a hook in it.
type Tamper struct {
	// Calls are system calls by name, comma between: "pwrite64", "fsync,fdatasync". They are counted together.
	Calls string
	// How is strace's own word: "error=EIO", "signal=SIGKILL", "delay_enter=300000" (microseconds), "retval=0" (not done, and said
	// to be). Empty: nothing is done, the calls are counted.
	How string
	// First and Last are the numbers of the calls, from 1, to which it is done. Last 0: to First alone; -1: for good. Strace counts the
	// calls of each thread by themselves, so that what goes on for long, and wanders from thread to thread, may meet it more than once.
	First, Last int
	// Files are the absolute paths to which the calls must go.
	Files []string
}

// String names it as a test would print it.
func (t Tamper) String() string {
	if t.How == "" {
		return t.Calls + " counted"
	}
	return fmt.Sprintf("%s:%s at %s", t.Calls, t.How, t.when())
}

func (t Tamper) when() string {
	switch {
	case t.Last < 0:
		return fmt.Sprintf("%d+", t.First)
	case t.Last > t.First:
		return fmt.Sprintf("%d..%d", t.First, t.Last)
	}
	return strconv.Itoa(t.First)
}

// Command is strace with its arguments, before the program to run or "-p PID"; the calls are written to the file log.
func (t Tamper) Command(log string) []string {
	args := []string{"strace", "-f", "-o", log, "-e", "signal=SIGKILL", "-e", "trace=" + t.Calls}
	if t.How != "" {
		args = append(args, "-e", "inject="+t.Calls+":"+t.How+":when="+t.when())
	}
	for _, f := range t.Files {
		args = append(args, "-P", f)
	}
	return args
}

// Count is how many of the calls a log of strace holds.
func (t Tamper) Count(log string) (int, error) {
	b, err := os.ReadFile(log)
	if err != nil {
		return 0, fmt.Errorf("reading what strace saw: %w", err)
	}
	n := 0
	for line := range bytes.Lines(b) {
		_, call, found := strings.Cut(strings.TrimSpace(string(line)), " ") // the thread's id comes first
		name, _, isCall := strings.Cut(strings.TrimSpace(call), "(")
		if found && isCall && strings.Contains(","+t.Calls+",", ","+name+",") {
			n++
		}
	}
	return n, nil
}

// Met is how often it was done, by a log of strace: how many calls failed, were held up or falsified. A signal leaves no word there.
func (t Tamper) Met(log string) int {
	b, err := os.ReadFile(log)
	if err != nil {
		return 0 // not begun
	}
	return bytes.Count(b, []byte("(INJECTED)")) + bytes.Count(b, []byte("(DELAYED)"))
}

// Trace is strace holding a running process.
type Trace struct {
	cmd   *exec.Cmd
	ended chan struct{}
}

// spoken is what strace says of itself; heard is closed once it has said a word.
type spoken struct {
	word  string
	heard chan struct{}
	mu    sync.Mutex
	b     bytes.Buffer
}

// Write takes a piece of it.
func (s *spoken) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := strings.Contains(s.b.String(), s.word)
	n, err := s.b.Write(p)
	if !before && strings.Contains(s.b.String(), s.word) {
		close(s.heard)
	}
	return n, err
}

// String is all of it so far.
func (s *spoken) String() string { s.mu.Lock(); defer s.mu.Unlock(); return s.b.String() }

// Attach takes hold of a process and returns once every thread of it is held: calls are counted from there. The caller must Detach.
func Attach(ctx context.Context, pid int, t Tamper, log string) (*Trace, error) {
	args := append(t.Command(log), "-p", strconv.Itoa(pid))
	tr := &Trace{cmd: exec.Command(args[0], args[1:]...), ended: make(chan struct{})}
	said := &spoken{word: fmt.Sprintf("Process %d attached", pid), heard: make(chan struct{})}
	tr.cmd.Stderr = said
	if err := tr.cmd.Start(); err != nil {
		return nil, fmt.Errorf("starting strace: %w", err)
	}
	go func() {
		_ = tr.cmd.Wait() // what it has to say is in said
		close(tr.ended)
	}()
	select {
	case <-said.heard:
		return tr, nil
	case <-tr.ended:
	case <-ctx.Done():
		_ = tr.cmd.Process.Kill()
		<-tr.ended
	}
	return nil, fmt.Errorf("strace did not take hold of process %d: %s", pid, said)
}

// Detach lets the process go, untouched from there; it may have ended before.
func (tr *Trace) Detach() {
	_ = tr.cmd.Process.Signal(syscall.SIGTERM)
	<-tr.ended
}
