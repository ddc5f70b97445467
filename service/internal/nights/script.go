package nights

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// line is one line of a night that does something.
type line struct {
	number int
	clock  string // the time of day that it begins with, if it does
	words  []string
	want   []word // what stands behind "->"
}

// word is one word of a line; text in double quotes is one word, without them.
type word struct {
	text   string
	quoted bool
}

// String gives the line back, for failures.
func (l line) String() string {
	return strings.TrimSpace(l.clock + " " + strings.Join(l.words, " "))
}

// parse splits a night into its prose and its lines. The prose ends at the first line that begins with "rig".
func parse(text string) ([]line, error) {
	var out []line
	begun := false
	for i, raw := range strings.Split(text, "\n") {
		s := strings.TrimSpace(raw)
		begun = begun || strings.HasPrefix(s, "rig ")
		if !begun || s == "" || strings.HasPrefix(s, "#") {
			continue
		}
		l, err := parseLine(s)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
		l.number = i + 1
		out = append(out, l)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no line begins with \"rig\"")
	}
	return out, nil
}

func parseLine(s string) (l line, err error) {
	words, err := split(s)
	if err != nil {
		return line{}, err
	}
	for j, w := range words {
		if w.text == "->" && !w.quoted {
			l.want = words[j+1:]
			break
		}
		l.words = append(l.words, w.text)
	}
	if len(l.words) > 0 {
		if _, ok := timeOfDay(l.words[0]); ok {
			l.clock, l.words = l.words[0], l.words[1:]
		}
	}
	if len(l.words) == 0 && l.clock == "" {
		return line{}, fmt.Errorf("nothing stands before \"->\"")
	}
	return l, nil
}

// timeOfDay reads 21:14 or 21:14:05.
func timeOfDay(w string) (time.Time, bool) {
	for _, layout := range []string{"15:04", "15:04:05"} {
		if t, err := time.Parse(layout, w); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// split cuts a line at white space; text in double quotes stays together. A comma or colon that ends a word is for the eye.
func split(s string) ([]word, error) {
	var out []word
	for s = strings.TrimSpace(s); s != ""; s = strings.TrimSpace(s) {
		if s[0] == '"' {
			end := strings.IndexByte(s[1:], '"')
			if end < 0 {
				return nil, fmt.Errorf("a quote is not closed")
			}
			out, s = append(out, word{s[1 : 1+end], true}), s[2+end:]
			continue
		}
		end := strings.IndexAny(s, " \t")
		if end < 0 {
			end = len(s)
		}
		if w := strings.TrimRight(s[:end], ",:"); w != "" {
			out = append(out, word{text: w})
		}
		s = s[end:]
	}
	return out, nil
}

// arguments are the words of a line behind its verb, taken one by one; the first fault stays.
type arguments struct {
	words []string
	err   error
}

func (a *arguments) fail(format string, args ...any) {
	if a.err == nil {
		a.err = fmt.Errorf(format, args...)
	}
}

// next takes a word; empty where none is left.
func (a *arguments) next() string {
	if len(a.words) == 0 {
		return ""
	}
	w := a.words[0]
	a.words = a.words[1:]
	return w
}

// take takes the words if they come next.
func (a *arguments) take(words ...string) bool {
	if len(a.words) < len(words) {
		return false
	}
	for i, w := range words {
		if a.words[i] != w {
			return false
		}
	}
	a.words = a.words[len(words):]
	return true
}

// rest takes all words that are left.
func (a *arguments) rest() string {
	s := strings.Join(a.words, " ")
	a.words = nil
	return s
}

// numbered tells whether a number comes next.
func (a *arguments) numbered() bool {
	if len(a.words) == 0 {
		return false
	}
	_, err := strconv.ParseFloat(a.words[0], 64)
	return err == nil
}

func (a *arguments) number() float64 {
	w := a.next()
	v, err := strconv.ParseFloat(w, 64)
	if err != nil {
		a.fail("%q is no number", w)
	}
	return v
}

func (a *arguments) duration() time.Duration {
	w := a.next()
	d, err := time.ParseDuration(w)
	if err != nil {
		a.fail("%q is no length of time such as 15m", w)
	}
	return d
}

// done fails where words are left over.
func (a *arguments) done() error {
	if len(a.words) > 0 {
		a.fail("not understood: %q", strings.Join(a.words, " "))
	}
	return a.err
}
