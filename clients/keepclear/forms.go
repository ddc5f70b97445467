package main

import (
	"flag"
	"fmt"
	"io"
	"slices"
	"strings"
)

// form is one way to call a command: of those that take an action, one for each.
type form struct {
	name    string   // the word that chooses it; empty: the command has one form
	line    string   // what follows the program's name
	what    string   // what it does; empty: what the command does
	flags   []string // its own; those of every form stand with the command
	example string   // what to type, after the program's name
	more    string   // what else its help says
}

// motions are the actions that a rig may be asked for, with the flags of each.
func motions(verb, more string) []form {
	lead := verb + " RIG "
	return []form{
		{"slew", lead + "slew --ra DEG --dec DEG --frame icrs|date, or --axis1 DEG --axis2 DEG", "go to a place on the sky or to axis angles, then stop or track",
			[]string{"ra", "dec", "frame", "axis1", "axis2", "side", "track"}, verb + " heron slew --ra 38.2 --dec 61.45 --frame icrs --track 10m", more},
		{"track", lead + "track --for TIME, or --until INSTANT", "follow the sky from where it points",
			[]string{"for", "until"}, verb + " heron track --for 2h", more},
		{"jog", lead + "jog --axis1 DEG, --axis2 DEG, or both", "turn the axes by so much, then stop or track",
			[]string{"axis1", "axis2", "rate", "track"}, verb + " heron jog --axis2 -3.5 --rate 0.5", more},
		{"creep", lead + "creep --axis1 DEG --rate DEG, or --axis2 DEG --rate DEG", "turn one axis slowly, out of where parts are too near for all else",
			[]string{"axis1", "axis2", "rate"}, verb + " heron creep --axis2 -3.5 --rate 0.2", more},
		{"home", lead + "home [--order WORD]", "find the reference marks, as the rig file says",
			[]string{"order"}, verb + " heron home --order axis1-first", more},
		{"park", lead + "park [--place NAME]", "go to a place of rest",
			[]string{"place"}, verb + " wren park", more},
		{"flip", lead + "flip [--track TIME]", "go to the same sky on the other side, then stop or track",
			[]string{"track"}, verb + " heron flip --track 1h", more},
	}
}

// asked are the forms of ask: the motions, and whether a solve may be believed.
func asked() []form {
	return append(motions("ask", leaveGiven), form{"sync", "ask RIG sync --solve FILE", "may the mount be told that it points where a solve says?",
		[]string{"solve"}, "ask heron sync --solve solve.json", solveAsJSON})
}

// rehearsed are the forms of rehearse: the motions, and several of them one after the other.
func rehearsed() []form {
	return append(motions("rehearse", ""), form{"plan", "rehearse RIG plan --steps FILE", "several in order, as tonight's: each starts where the one before ends",
		[]string{"steps"}, "rehearse heron plan --steps tonight.json", stepsAsJSON})
}

func told() []form {
	return []form{
		{"homed", "tell RIG homed --person NAME [--axis1 DEG --axis2 DEG] [--sigma DEG]", "a person saw where the axes stand: at home, or at these angles",
			[]string{"axis1", "axis2", "sigma"}, `tell heron homed --person "A. Person"`, ""},
		{"proved", "tell RIG proved --person NAME --digest HEX --residual MM --signs", "a person measured gaps on the rig and turned both axes",
			[]string{"digest", "residual", "signs"}, `tell heron proved --person "A. Person" --digest 3c9a… --residual 4 --signs`, ""},
		{"act", "tell RIG act NAME --person NAME [--note TEXT]", "a person did something that no sample shows: " + strings.Join(actNames(), ", "),
			[]string{"note"}, `tell heron act clutch-opened --person "A. Person"`, ""},
	}
}

func read() []form {
	filter := []string{"rig", "kind", "verdict", "rule"}
	return []form{
		{"list", "entries list [--rig RIG] [--kind WORD] [--verdict WORD] [--rule ID] [--says TEXT] [--from INSTANT] [--before INSTANT] [--count N]", "the last entries, the newest at the end",
			append([]string{"count", "from", "before", "says"}, filter...), "entries list --rig heron --from 02:10Z --before 03:40Z", ""},
		{"show", "entries show CHAIN/NUMBER, or the id of a request, permit or lock", "one entry, whole", nil, "entries show heron/2", ""},
		{"export", "entries export [--rig RIG] [--kind WORD] [--verdict WORD] [--rule ID] [--from INSTANT] [--before INSTANT]",
			"all entries that match, whole, the oldest first: one line of JSON each", append([]string{"from", "before"}, filter...), "entries export --rig heron --from 2026-11-01T12:00:00Z", ""},
		{"follow", "entries follow [--rig RIG] [--kind WORD] [--verdict WORD] [--rule ID]", "entries as they are written, until it is interrupted", filter, "entries follow --rig heron", ""},
	}
}

// form finds the form that the words choose: nil where none is named, or one that there is not.
func (c *command) form(words []string) *form {
	for i := range c.forms {
		if f := &c.forms[i]; f.name == "" || len(words) > c.at && words[c.at] == f.name {
			return f
		}
	}
	return nil
}

// named finds the form that any of the words names, for help.
func (c *command) named(words []string) *form {
	for i := range c.forms {
		if c.forms[i].name != "" && slices.Contains(words, c.forms[i].name) {
			return &c.forms[i]
		}
	}
	return nil
}

// names lists the words that choose a form.
func (c *command) names() string {
	var out []string
	for _, f := range c.forms {
		out = append(out, f.name)
	}
	return strings.Join(out, ", ")
}

// everywhere are the flags that every command takes.
func everywhere() []string { return []string{"json", "at-address"} }

// takes tells whether a form takes a flag.
func (c *command) takes(f *form, flag string) bool {
	return slices.Contains(f.flags, flag) || slices.Contains(c.shared, flag) || slices.Contains(everywhere(), flag)
}

// help prints the forms of a command: one of them whole, or, where none is chosen, all of them shortly.
func (c *command) help(w io.Writer, flags *flag.FlagSet, chosen *form) {
	fmt.Fprintf(w, "%s: %s\n", c.name, c.what)
	for i := range c.forms {
		if f := &c.forms[i]; chosen == nil || chosen == f {
			f.help(w, flags, chosen != nil || len(c.forms) == 1)
		}
	}
	fmt.Fprintln(w, "\nAlso:")
	describe(w, flags, slices.Concat(c.shared, everywhere()))
	more := c.more
	switch {
	case chosen != nil:
		more = chosen.more
	case len(c.forms) > 1:
		fmt.Fprintf(w, "\nkeepclear help %s %s tells the flags of %s, and so on.\n", c.name, c.forms[0].name, c.forms[0].name)
	}
	if more != "" {
		fmt.Fprintf(w, "\n%s\n", more)
	}
}

func (f *form) help(w io.Writer, flags *flag.FlagSet, whole bool) {
	fmt.Fprintf(w, "\n  keepclear %s\n", f.line)
	if f.what != "" {
		fmt.Fprintf(w, "      %s\n", f.what)
	}
	if whole {
		describe(w, flags, f.flags)
	}
	fmt.Fprintf(w, "      for example\n        keepclear %s\n", f.example)
}

// describe prints flags, each in a line: its usage begins with what stands for its value.
func describe(w io.Writer, flags *flag.FlagSet, names []string) {
	for _, name := range names {
		value, what := flag.UnquoteUsage(flags.Lookup(name))
		fmt.Fprintf(w, "      %-16s  %s\n", strings.TrimSpace("--"+name+" "+value), strings.TrimPrefix(what, value+" "))
	}
}
