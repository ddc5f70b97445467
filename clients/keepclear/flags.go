package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// number is a flag's finite number. A minus may be the sign that sentences are written with, so that figures can be copied.
type number struct{ to *float64 }

func (n number) String() string {
	if n.to == nil {
		return ""
	}
	return strconv.FormatFloat(*n.to, 'g', -1, 64)
}

// Set reads the number.
func (n number) Set(s string) error {
	v, err := strconv.ParseFloat(strings.TrimSuffix(plainMinus(s), "°"), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return errors.New("a number is wanted, like 12.5 or -3")
	}
	*n.to = v
	return nil
}

// span is a flag's length of time.
type span struct{ to *time.Duration }

func (d span) String() string {
	if d.to == nil {
		return ""
	}
	return d.to.String()
}

// Set reads the length of time.
func (d span) Set(s string) error {
	v, err := time.ParseDuration(plainMinus(s))
	switch _, bare := strconv.ParseFloat(plainMinus(s), 64); {
	case err == nil:
		*d.to = v
		return nil
	case bare == nil:
		return fmt.Errorf("%sm (minutes) or %ss (seconds) is wanted", s, s)
	}
	return errors.New("a length of time is wanted, like 90s, 45m or 2h30m")
}

// onRecord reads an instant of the record: whole, also as a list prints it, or a time of day in UTC, of which the first after an instant is meant, or without one the last that
// has been. Empty: none is meant.
func (k *call) onRecord(name, s string, after *timestamppb.Timestamp) (*timestamppb.Timestamp, error) {
	if s == "" {
		return nil, nil
	}
	if t, ok := parsedAs(s, time.RFC3339, onDay); ok {
		return timestamppb.New(t), nil
	}
	clock, ok := parsedAs(s, "15:04Z", "15:04:05Z", inDay)
	if !ok {
		return nil, wrong("--%s %q is no instant: want one like 2026-11-14T21:30:00Z, or a time of day like 21:30Z, both in UTC as entries are listed", name, s)
	}
	last := k.now().UTC()
	if after != nil {
		last = after.AsTime().AddDate(0, 0, 1)
	}
	at := time.Date(last.Year(), last.Month(), last.Day(), clock.Hour(), clock.Minute(), clock.Second(), 0, time.UTC)
	if at.After(last) {
		at = at.AddDate(0, 0, -1)
	}
	return timestamppb.New(at), nil
}

// parsedAs reads an instant written in any of some layouts; false: it is written in none.
func parsedAs(s string, layouts ...string) (time.Time, bool) {
	for _, layout := range layouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// plainMinus writes the minus of typesetters as that of keyboards.
func plainMinus(s string) string { return strings.ReplaceAll(s, "\u2212", "-") }

func (k *call) number(name string, value float64, what string) *float64 {
	k.flags.Var(number{&value}, name, what)
	return &value
}

func (k *call) span(name, what string) *time.Duration {
	var d time.Duration
	k.flags.Var(span{&d}, name, what)
	return &d
}

// words parses flags that may stand before, between and after the words, and returns the words.
func (k *call) words() ([]string, error) {
	words, err := k.parse(k.args)
	f := k.cmd.form(words)
	k.form = f
	if errors.Is(err, flag.ErrHelp) {
		k.cmd.help(k.out, k.flags, k.cmd.named(words))
		return nil, err
	}
	if err != nil || f == nil {
		return words, err
	}
	k.flags.Visit(func(x *flag.Flag) {
		if err == nil && !k.cmd.takes(f, x.Name) {
			err = wrong("%s takes no --%s", strings.TrimSpace(k.cmd.name+" "+f.name), x.Name)
		}
	})
	return words, err
}

// parse takes the flags out of the words. Asked for help it reads on, so that what help is wanted for may come later.
func (k *call) parse(args []string) (words []string, err error) {
	for len(args) > 0 {
		now := k.flags.Parse(args)
		args = k.flags.Args()
		switch {
		case errors.Is(now, flag.ErrHelp):
			err = now
			continue
		case now != nil && err == nil:
			return words, k.badFlag(now)
		}
		if len(args) > 0 && now == nil {
			words, args = append(words, args[0]), args[1:]
		}
	}
	return words, err
}

// refusedValue is how the standard library says that a flag's value is none.
var refusedValue = regexp.MustCompile(`^invalid (?:boolean )?value "(.*)" for (?:flag )?-([^ :]+): (.*)$`)

// badFlag says what was wrong with a flag, and what the flag is.
func (k *call) badFlag(err error) error {
	text := err.Error()
	if name, ok := strings.CutPrefix(text, "flag provided but not defined: "); ok {
		if name == "-begin-later" {
			return wrong("there is no --begin-later: a permit that waits for a begin moves nothing until a report with a sample begins it, and this command sends none. Leave it out: the permit then begins with the answer. A program that wants to begin later asks the service itself")
		}
		return wrong("there is no flag -%s", name)
	}
	if name, ok := strings.CutPrefix(text, "flag needs an argument: -"); ok {
		return wrong("--%s: a value is wanted\n%s", name, k.ofFlag(name))
	}
	if m := refusedValue.FindStringSubmatch(text); m != nil {
		return wrong("--%s %s: %s\n%s", m[2], m[1], m[3], k.ofFlag(m[2]))
	}
	return wrong("%s", text)
}

// ofFlag is a flag's own help.
func (k *call) ofFlag(name string) string {
	var b strings.Builder
	describe(&b, k.flags, []string{name})
	return strings.TrimRight(b.String(), "\n")
}
