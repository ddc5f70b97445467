package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// Exit codes.
const (
	exitDone  = 0
	exitUsage = 2
	exitHold  = 3
	exitDeny  = 4
	exitCheck = 5
)

// defaultAddress is where the service listens by default.
const defaultAddress = "127.0.0.1:7413"

// thisAsker is the name under which the command asks and reports.
const thisAsker = "keepclear command"

// patience is how long one call may take. Common practice, no source: a person waits so long before looking elsewhere.
const patience = 10 * time.Second

// errUsage is the class of wrong usage: the text says what was wrong.
var errUsage = errors.New("wrong usage")

// command is one word of the command line.
type command struct {
	name, args, what string
	run              func(c *call) (int, error)
	forms            []form
	at               int      // place among the words of the one that names the form
	shared           []string // flags that each form takes
	more             string   // what else its help says
	harmless         bool     // it reads, rehearses or releases: where the service says that something is not so, nothing would have moved on its answer
}

// commands in the order in which a person needs them.
func commands() []command {
	one := func(line, example string, flags ...string) []form {
		return []form{{line: line, flags: flags, example: example}}
	}
	return []command{
		{"ask", "RIG slew|track|jog|creep|home|park|flip|sync …", "may it? Moves nothing, but an allow is leave given; to try, rehearse", ask,
			asked(), 1, []string{"sample", "attended-by", "replaces", "request-id", "practice"}, leaveGiven + "\n\n" + sampleAsJSON, false},
		{"rehearse", "RIG slew|track|jog|creep|home|park|flip|plan … [--at INSTANT]", "would it pass then? Gives no leave", rehearse,
			rehearsed(), 1, []string{"at", "from-now", "from-axes"}, "", true},
		{"rigs", "[RIG]", "how the rigs stand", rigs, one("rigs [RIG]", "rigs heron"), 0, nil, "", true},
		{"room", "RIG [--gap MM] [--what-if KEY=NUMBER]… [--picture FILE]", "how far the axes may turn with what the rig carries, what bounds them, and how it would be if a length were another", room,
			one("room RIG [--gap MM] [--band DEG] [--state PART=STATE]… [--what-if KEY=NUMBER]… [--picture FILE]", "room heron --what-if tape.floor_to_crossing_mm+=150", "gap", "band", "state", "what-if", "picture"), 0, nil, "", true},
		{"view", "RIG [--axis1 DEG --axis2 DEG] [--state PART=STATE]… [--picture FILE]", "how near its parts are where it stands, or at axis angles; draws it from the south, the east and above", view,
			one("view RIG [--axis1 DEG --axis2 DEG] [--state PART=STATE]… [--picture FILE]", "view heron --picture heron.svg", "axis1", "axis2", "state", "picture"), 0, nil, "", true},
		{"tell", "RIG homed|proved|act …", "state what a person did or saw", tell, told(), 1, []string{"person", "as"}, "", false},
		{"prove", "RIG", "hold its file against the rig, with a tape; moves nothing", prove,
			one("prove RIG [--person NAME] [--answers FILE]", "prove heron", "person", "answers"), 0, nil, "", false},
		{"withdraw", "RIG | --all", "take leave back; stop the mount first", withdraw, one("withdraw RIG | --all", "withdraw heron", "all", "reason"), 0, nil, "", false},
		{"lock", "RIG | --all  --person NAME --reason TEXT", "nothing may move until it is released", lock,
			one("lock RIG | --all  --person NAME --reason TEXT", `lock heron --person "A. Person" --reason "cable caught"`, "all", "person", "reason"), 0, nil, "", false},
		{"release", "LOCK-ID…  --person NAME --reason TEXT", "release locks", release,
			one("release LOCK-ID…  --person NAME --reason TEXT", `release 7d0c… --person "A. Person" --reason "cable freed"`, "person", "reason"), 0, nil, "", true},
		{"entries", "list | show PLACE | export | follow", "read the record", entries, read(), 0, nil, "", true},
		{"verify", "[CHAIN]", "have the service verify its record", verify, one("verify [CHAIN] [--receipt 'CHAIN/NUMBER HASH']…", "verify heron", "receipt"), 0, nil, "", true},
		{"rules", "[RIG]", "the rules and limits in force", rules, one("rules [RIG]", "rules heron"), 0, nil, "", true},
	}
}

// call is one run of one command.
type call struct {
	cmd      *command
	form     *form // the one that was chosen; nil: none was named
	ctx      context.Context
	args     []string
	in       io.Reader
	out, err io.Writer // out folds its lines for a phone
	raw      io.Writer // where out goes, unfolded: for JSON
	now      func() time.Time

	flags   *flag.FlagSet
	address *string
	json    *bool
	conn    *grpc.ClientConn
	repairs []string // that were printed
	silent  bool     // the service no longer answers what only makes a line fuller
}

// run is the whole program: arguments to exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer, now func() time.Time) int {
	switch {
	case len(args) == 0:
		usage(out)
		return exitUsage
	case args[0] != "help" && args[0] != "--help" && args[0] != "-h":
	case len(args) == 1:
		usage(out)
		return exitDone
	default:
		args = append(slices.Clone(args[1:]), "--help")
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return runOne(ctx, c, args[1:], in, out, errs, now)
		}
	}
	fmt.Fprintf(errs, "there is no command %q\n\n", args[0])
	usage(errs)
	return exitUsage
}

func runOne(ctx context.Context, c command, args []string, in io.Reader, out, errs io.Writer, now func() time.Time) int {
	seen := &witness{to: out}
	page := &folded{to: seen}
	k := &call{cmd: &c, ctx: ctx, args: args, in: in, out: page, raw: seen, err: errs, now: now}
	k.newFlags()
	code, err := c.run(k)
	if k.conn != nil {
		k.conn.Close()
	}
	code = k.ended(code, err)
	if page.flush(); seen.err != nil && code == exitDone { // cut off it reads as if it were all
		fmt.Fprintf(errs, "NOT ALL WAS WRITTEN: %v\n", seen.err)
		return exitHold
	}
	return code
}

// witness is a writer that keeps the first error of what it writes to.
type witness struct {
	to  io.Writer
	err error
}

func (w *witness) Write(p []byte) (int, error) {
	n, err := w.to.Write(p)
	if w.err == nil {
		w.err = err
	}
	return n, err
}

// ended is the exit code of a command that ended with one, or with an error, which is told.
func (k *call) ended(code int, err error) int {
	c, errs := k.cmd, k.err
	switch {
	case errors.Is(err, errUsage):
		line, of := c.name+" "+c.args, c.name
		if k.form != nil {
			line, of = k.form.line, strings.TrimSpace(c.name+" "+k.form.name)
		}
		fmt.Fprintf(errs, "%v\nusage: keepclear %s\nkeepclear help %s tells more\n", err, line, of)
		return exitUsage
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		return k.failed(err)
	}
	return code
}

// newFlags makes the set of flags, with those that every command takes. What is wrong with a flag words says, once.
func (k *call) newFlags() {
	k.flags = flag.NewFlagSet("keepclear "+k.cmd.name, flag.ContinueOnError)
	k.flags.SetOutput(io.Discard)
	k.flags.Usage = func() {}
	k.address = k.flags.String("at-address", defaultAddress, "`HOST:PORT` where the service listens; absent: "+defaultAddress)
	k.json = k.flags.Bool("json", false, "print the service's messages as JSON")
}

// failed says that nobody answered, or answered with an error: a hold.
func (k *call) failed(err error) int {
	s := status.Convert(err)
	if s.Code() == codes.Unavailable && len(s.Details()) == 0 { // of a service that answers, the reason stands in the details
		fmt.Fprintf(k.out, "HOLD  Nobody answers at %s (%s).\n      Nothing may move on this. Is the service running? go run ./service serve starts it; --at-address says where it is.\n", *k.address, unreached(s.Message()))
		return exitHold
	}
	if k.cmd.harmless && plain(s.Code()) || errors.Is(err, errUnwritten) {
		fmt.Fprintf(k.out, "NOT DONE  %s.\n", refusal(err))
		return exitHold
	}
	fmt.Fprintf(k.out, "HOLD  %s.\n      Nothing may move on this. Put it right and ask again.\n", refusal(err))
	return exitHold
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "keepclear: ask a running service (go run ./service serve) before a mount moves.")
	fmt.Fprintln(w)
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n            %s\n", c.name, c.args, c.what)
	}
	fmt.Fprintln(w, "\nEvery command takes --json and --at-address HOST:PORT; help COMMAND tells the rest.")
	fmt.Fprintln(w, "Exit codes: 0 allow or done, 3 hold (also: nobody answers), 4 deny, 5 a check failed, 2 wrong usage.")
}

// set tells whether a flag was given.
func (k *call) set(name string) bool {
	given := false
	k.flags.Visit(func(f *flag.Flag) { given = given || f.Name == name })
	return given
}

// dial connects to the service.
func (k *call) dial() (*grpc.ClientConn, error) {
	conn, err := grpc.NewClient(*k.address, append(cleanly(), grpc.WithTransportCredentials(insecure.NewCredentials()))...)
	if err != nil {
		return nil, fmt.Errorf("%w: %q is no address of a service: %v", errUsage, *k.address, err)
	}
	k.conn = conn
	return conn, nil
}

// dialFor checks a request and connects to the service for it.
func (k *call) dialFor(m proto.Message) (*grpc.ClientConn, error) {
	if err := k.checked(m); err != nil {
		return nil, err
	}
	return k.dial()
}

// timed bounds one call.
func (k *call) timed() (context.Context, context.CancelFunc) {
	return context.WithTimeout(k.ctx, patience)
}

// printJSON prints a message as JSON.
func (k *call) printJSON(m proto.Message) {
	b, err := protojson.MarshalOptions{Multiline: true, Indent: "  "}.Marshal(m)
	if err != nil {
		fmt.Fprintf(k.err, "the reply cannot be printed as JSON: %v\n", err)
		return
	}
	fmt.Fprintf(k.raw, "%s\n", b)
}

func wrong(format string, args ...any) error {
	return fmt.Errorf("%w: %s", errUsage, fmt.Sprintf(format, args...))
}
