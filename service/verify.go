package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// verify verifies a record file, whether or not a service has it open.
func verify(ctx context.Context, s streams, args []string) int {
	if len(args) != 1 {
		fmt.Fprintln(s.err, "usage: verify FILE")
		return exitUsage
	}
	if _, err := os.Stat(args[0]); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintf(s.err, "there is no file %s\n", args[0])
		return exitCheck
	}
	res, err := record.VerifyFile(ctx, args[0], record.VerifyOptions{Fold: state.NewFold}, store.Options{})
	if err != nil {
		fmt.Fprintf(s.err, "nothing was verified: %v\n", err)
		return exitCheck
	}
	fmt.Fprintln(s.out, res.Sentence)
	for _, h := range res.Heads {
		fmt.Fprintf(s.out, "  %-12s %6d entries, head %x\n", h.Chain, h.Number, h.Hash)
	}
	if !res.Whole {
		return exitCheck
	}
	return exitDone
}
