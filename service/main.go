// Command service is the keepclear service and what of keepclear needs no server: serve, demo, check a rig file, verify a record.
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
	context.AfterFunc(ctx, stop) // told twice, the process ends where it is: it may wait for a file that never ends
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, time.Now)
	stop()
	os.Exit(code)
}
