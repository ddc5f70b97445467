package main

import (
	"context"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// verify verifies a record file, whether or not a service has it open.
func verify(ctx context.Context, s streams, args []string) int {
	var receipts []record.Place
	f := flag.NewFlagSet("verify", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = func() {}
	f.Func("receipt", "of an entry that must be in it, as the command prints them", func(text string) error {
		one, err := receiptText(text)
		receipts = append(receipts, one)
		return err
	})
	if err := parseAnywhere(f, args); err != nil || f.NArg() != 1 {
		fmt.Fprintln(s.err, "usage: verify [--receipt 'CHAIN/NUMBER HASH']… FILE")
		return exitUsage
	}
	args = f.Args()
	if _, err := os.Stat(args[0]); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintf(s.err, "there is no file %s\n", args[0])
		return exitCheck
	}
	if what := noRecord(args[0]); what != "" {
		fmt.Fprintf(s.err, "nothing was verified: %s is %s, no record. Name the file that serve says at its start;\nif this is it, its beginning is lost: keep it, and take a copy from before\n", args[0], what)
		return exitCheck
	}
	kept, unread := record.KeptHeads(args[0])
	if unread != nil {
		fmt.Fprintf(s.err, "whether its end is lost is not looked at: %v%s\n", unread,
			map[bool]string{true: "; verify it as the user who serves it, or as root"}[errors.Is(unread, fs.ErrPermission)])
	}
	var losses decide.Losses
	var judged judgedBy
	res, err := record.VerifyFile(ctx, args[0], record.VerifyOptions{Fold: judged.fold(losses.Fold), Kept: kept, Receipts: receipts}, store.Options{})
	if err != nil {
		fmt.Fprintf(s.err, "nothing was verified: %v\n", err)
		return exitCheck
	}
	fmt.Fprintln(s.out, res.Sentence)
	for _, h := range res.Heads {
		fmt.Fprintf(s.out, "  %-12s %6d entries, head %x\n", h.Chain, h.Number, h.Hash)
	}
	if !res.Whole || unread != nil {
		return exitCheck
	}
	for _, one := range losses.Sentences() {
		fmt.Fprintln(s.out, one)
	}
	beside, spoilt := judged.beside(ctx, revisionsOf(args[0]))
	if ctx.Err() != nil {
		fmt.Fprintln(s.out, "What judged its answers was not looked at to its end: it was broken off.")
		return exitCheck
	}
	for _, one := range beside {
		fmt.Fprintln(s.out, one)
	}
	if kept == nil {
		fmt.Fprintln(s.out, "No heads are kept beside it (in a file of its name and -heads): that an end of it was cut off would not be seen. A service that starts with it locks every rig.")
	}
	if n := store.Names(args[0]); n > 1 {
		fmt.Fprintf(s.out, "The file has %d names (hard links): what was written by another of them may lie in a log beside that one, where it is not seen.\n", n)
	}
	if spoilt {
		return exitCheck
	}
	return exitDone
}

// receiptText reads a receipt as the command prints it.
func receiptText(text string) (p record.Place, err error) {
	place, hash, _ := strings.Cut(strings.TrimSpace(text), " ")
	chain, number, _ := strings.Cut(place, "/")
	n, bad := strconv.ParseUint(number, 10, 64)
	sum, err := hex.DecodeString(strings.TrimSpace(hash))
	if chain == "" || bad != nil || n == 0 || err != nil || len(sum) != len(p.Hash) {
		return p, errors.New("want CHAIN/NUMBER and the hash in 64 digits, in quotes, as ask prints them")
	}
	return record.Place{Chain: chain, Number: n, Hash: [32]byte(sum)}, nil
}

// recordHead is how every record file begins. Source: SQLite's file format, section 1.3 (www.sqlite.org/fileformat2.html).
const recordHead = "SQLite format 3\x00"

// noRecord says what a path holds that is no record at all; empty: it may be one, or cannot be read, which the store tells.
func noRecord(path string) string {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return ""
	case info.IsDir():
		return "a folder"
	case !info.Mode().IsRegular(): // to open a pipe would wait for ever
		return "no ordinary file"
	}
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	head := make([]byte, len(recordHead))
	n, err := io.ReadFull(f, head)
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return "an empty file"
	case string(head[:n]) != recordHead:
		return "a file of another kind"
	}
	return ""
}
