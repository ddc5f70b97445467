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
	words  []string // quoted text is one word, without its quotes
	want   []string // what stands behind "->"
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
		words, err := split(s)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
		l := line{number: i + 1, words: words}
		for j, w := range words {
			if w == "->" {
				l.words, l.want = words[:j], words[j+1:]
				break
			}
		}
		out = append(out, l)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no line begins with \"rig\"")
	}
	return out, nil
}

// split cuts a line at white space; text in double quotes stays together.
func split(s string) ([]string, error) {
	var out []string
	for s = strings.TrimSpace(s); s != ""; s = strings.TrimSpace(s) {
		if s[0] == '"' {
			end := strings.IndexByte(s[1:], '"')
			if end < 0 {
				return nil, fmt.Errorf("a quote is not closed")
			}
			out, s = append(out, s[1:1+end]), s[2+end:]
			continue
		}
		end := strings.IndexAny(s, " \t")
		if end < 0 {
			end = len(s)
		}
		out, s = append(out, s[:end]), s[end:]
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

// take takes the word if it comes next.
func (a *arguments) take(word string) bool {
	if len(a.words) > 0 && a.words[0] == word {
		a.words = a.words[1:]
		return true
	}
	return false
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
