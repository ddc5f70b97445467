// Command keepclear asks a running keepclear service from a terminal: questions, rigs, the record, rules, locks.
//
// It speaks gRPC only, and only to the service. Its first word is the verdict, its exit code says the same: 0 allow or done, 3 hold
// (also when nobody answers), 4 deny, 5 a check failed, 2 wrong usage. With --json it prints the service's own messages instead.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, time.Now)
	stop()
	os.Exit(code)
}
