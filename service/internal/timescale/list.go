package timescale

import (
	"crypto/sha1" // the list's own check sum: against damage, not against forgery
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ParseList reads a table in the format of leap-seconds.list, as the IERS and tzdata publish it, so that a site can replace the
// built-in one. It demands the issue line (#$), the expiry (#@) and a check sum (#h) that fits.
// Source: the format's description in that file itself; the sum is SHA-1 over the digits of issue, expiry and rows, in order.
func ParseList(text string) (Table, error) {
	var list leapList
	for n, line := range strings.Split(text, "\n") {
		if err := list.read(strings.Fields(line)); err != nil {
			return Table{}, fmt.Errorf("%w: line %d, %.60q: %w", ErrTable, n+1, line, err)
		}
	}
	if list.sum != list.wantSum {
		return Table{}, fmt.Errorf("%w: check sum is %s, its #h line says %q: fetch the file anew", ErrTable, list.sum, list.wantSum)
	}
	return NewTable(list.issued, list.goodUntil, list.leaps)
}

type leapList struct {
	issued, goodUntil time.Time
	leaps             []Leap
	digits            string
	sum, wantSum      string
}

func (l *leapList) read(fields []string) (err error) {
	switch {
	case len(fields) == 0:
	case fields[0] == "#$" && len(fields) == 2:
		l.issued, err = l.ntp(fields[1])
	case fields[0] == "#@" && len(fields) == 2:
		l.goodUntil, err = l.ntp(fields[1])
	case fields[0] == "#h" && len(fields) == 6:
		l.wantSum = hashText(fields[1:])
	case strings.HasPrefix(fields[0], "#"):
	case len(fields) >= 2:
		err = l.leap(fields[0], fields[1])
	default:
		return errors.New("want an NTP second and TAI-UTC")
	}
	l.sum = fmt.Sprintf("%x", sha1.Sum([]byte(l.digits)))
	return err
}

func (l *leapList) leap(from, offset string) error {
	at, err := l.ntp(from)
	if err != nil {
		return err
	}
	seconds, err := strconv.Atoi(offset)
	if err != nil {
		return fmt.Errorf("want TAI-UTC as whole seconds: %w", err)
	}
	l.digits += offset
	l.leaps = append(l.leaps, Leap{at, seconds})
	return nil
}

func (l *leapList) ntp(text string) (time.Time, error) {
	seconds, err := strconv.ParseUint(text, 10, 40)
	if err != nil {
		return time.Time{}, fmt.Errorf("want seconds since 1900: %w", err)
	}
	l.digits += text
	return time.Unix(int64(seconds)-ntpEpoch, 0).UTC(), nil
}

// hashText joins the five words of the #h line, whose leading zeroes some editions drop.
func hashText(words []string) string {
	out := ""
	for _, w := range words {
		out += strings.Repeat("0", max(0, 8-len(w))) + strings.ToLower(w)
	}
	return out
}
