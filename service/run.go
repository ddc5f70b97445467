package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"
)

// Exit codes: 0 allow or done, 3 hold, 4 deny, 5 a check failed, 2 wrong usage (design, section 18).
const (
	exitDone  = 0
	exitUsage = 2
	exitHold  = 3
	exitCheck = 5
)

// command is one thing that the service binary does.
type command struct {
	name, args, what string
	run              func(ctx context.Context, s streams, args []string) int
}

// streams are where a command reads and writes, and its clock.
type streams struct {
	in       io.Reader
	out, err io.Writer
	now      func() time.Time
}

// commands lists them in the order in which a new user meets them.
func commands() []command {
	return []command{
		{"demo", "", "one night with a simulated mount, through the real service; under a minute, asks nothing", demo},
		{"check", "FILE | FOLDER | --blank [german|fork|alt-azimuth]", "say what a rig file means, or whether a service would start on a folder of them, or print an empty form to measure by", check},
		{"room", "[--gap MM] [--band DEGREES] [--state PART=STATE]… [--what-if KEY=NUMBER]… [--picture FILE.svg] FILE | --practice heron", "say how far the axes may turn with what the rig carries, what bounds them, and how it would be if a length were another", room},
		{"view", "[--at AXIS1,AXIS2] [--state PART=STATE]… [--picture FILE.svg] FILE | --practice heron", "say how near its parts are at one pose of the axes, and draw the rig from the south, the east and above", view},
		{"serve", "[--rigs DIR] [--record FILE] [--practice heron] [--listen 127.0.0.1:7413] [--clock-within SECONDS]", "answer questions", serve},
		{"practice", "[--seed N | --seeds A-B [--beside]] [--kind fair|good|bad] [--mechanism ONE] [--fault ONE] [--gate NAME]", "play an invented night of a simulated rig, or a season of them, and score the sync gate", practiceNights},
		{"verify", "[--receipt 'CHAIN/NUMBER HASH']… FILE", "verify a record file from its first entry to its heads", verify},
	}
}

// run is the whole program: arguments to exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer, now func() time.Time) int {
	s := streams{in, out, errs, now}
	if len(args) == 2 && args[0] == "help" {
		args = []string{args[1], "--help"}
	}
	if len(args) > 0 {
		for _, c := range commands() {
			if c.name != args[0] {
				continue
			}
			if len(args) == 2 && isHelp(args[1]) {
				s.err = out // asked for, so it is no complaint
				c.help(out)
				if c.name != "serve" && c.name != "room" && c.name != "view" && c.name != "practice" { // its flags say their own
					return exitDone
				}
			}
			return c.run(ctx, s, args[1:])
		}
		if args[0] == "help" || isHelp(args[0]) {
			usage(out)
			return exitDone
		}
		fmt.Fprintf(errs, "there is no command %q\n\n", args[0])
	}
	usage(errs)
	return exitUsage
}

func isHelp(arg string) bool { return arg == "--help" || arg == "-help" || arg == "-h" }

// parseAnywhere reads flags before, between and behind the words, which f.Args are afterwards; behind "--" all are words.
func parseAnywhere(f *flag.FlagSet, args []string) error {
	words := []string{"--"}
	for {
		if err := f.Parse(args); err != nil {
			return err
		}
		rest := f.Args()
		if len(rest) == 0 || len(args) > len(rest) && args[len(args)-len(rest)-1] == "--" {
			return f.Parse(append(words, rest...))
		}
		words, args = append(words, rest[0]), rest[1:]
	}
}

// help says how a command is used.
func (c command) help(w io.Writer) {
	fmt.Fprintf(w, "usage: go run ./service %s\n    %s\n", strings.TrimSpace(c.name+" "+c.args), c.what)
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "keepclear service: may this rig move there, may this solve be believed?")
	fmt.Fprintln(w)
	for _, c := range commands() {
		fmt.Fprintf(w, "  %s %s\n      %s\n", c.name, c.args, c.what)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "Asking a running service is the other command: go run ./clients/keepclear help")
}
