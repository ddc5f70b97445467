package rig

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// isNumber tells how a number is written: [-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?. YAML itself would take 0x10, 1_000 and .inf too, none of which a
// person means.
func isNumber(text string) bool {
	rest := unsigned(text)
	whole, rest := digits(rest)
	part := 0
	if strings.HasPrefix(rest, ".") {
		part, rest = digits(rest[1:])
	}
	if whole+part == 0 {
		return false
	}
	if rest != "" && (rest[0] == 'e' || rest[0] == 'E') {
		power, after := digits(unsigned(rest[1:]))
		return power > 0 && after == ""
	}
	return rest == ""
}

// unsigned is a text without the sign that it may begin with.
func unsigned(text string) string {
	if text != "" && (text[0] == '-' || text[0] == '+') {
		return text[1:]
	}
	return text
}

// digits counts those with which a text begins, and returns what follows them.
func digits(text string) (count int, rest string) {
	for count < len(text) && '0' <= text[count] && text[count] <= '9' {
		count++
	}
	return count, text[count:]
}

// aNumber reads a number of a file.
func aNumber(n *node) (float64, bool) {
	if n.kind != scalar || n.quoted || !isNumber(n.text) {
		return 0, false
	}
	v, err := strconv.ParseFloat(n.text, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// reader takes the values out of one block of keys, notes every fault and remembers what was asked for, so that close can
// name the keys that nobody knows.
type reader struct {
	f     *faults
	at    *node // nil: the block is not there, and nothing is read
	path  string
	known []string
}

func (r *reader) key(key string) string { return join(r.path, key) }

// peek finds a key; nil where the block or the key is not there.
func (r *reader) peek(key string) *node {
	r.known = append(r.known, key)
	if r.at == nil {
		return nil
	}
	return r.at.find(key)
}

// has tells whether a key is there, empty or not.
func (r *reader) has(key string) bool { return r.peek(key) != nil }

// take finds the value of a key that may be left out; nil where it is. A key without a value is a forgotten one.
func (r *reader) take(key string) *node {
	n := r.peek(key)
	if n != nil && n.kind == nothing {
		r.f.add(n, r.key(key), "a value", "nothing", "write it, or take the line away")
		return nil
	}
	return n
}

// need finds the value of a key that has to be there.
func (r *reader) need(key, wanted, remedy string) *node {
	return r.needs(key, func() string { return wanted }, remedy)
}

// needs is need of what is put into words only where it is not there: to write what each length may be takes longer than to read it.
func (r *reader) needs(key string, wanted func() string, remedy string) *node {
	n := r.peek(key)
	if n != nil && n.kind != nothing || r.at == nil {
		return n
	}
	place := r.at
	if n != nil {
		place = n
	}
	r.f.add(place, r.key(key), wanted(), "nothing", remedy)
	return nil
}

// close names the keys that nothing asked for.
func (r *reader) close() {
	if r.at == nil {
		return
	}
	for _, e := range r.at.entries {
		if !slices.Contains(r.known, e.key) {
			r.f.add(e.place, r.key(e.key), "one of the keys known here", quote(e.key), nearest(e.key, r.known))
		}
	}
}

// nearest suggests a key for one that is not known.
func nearest(key string, known []string) string {
	best, least := begun(key, known), 2+len(key)/4 // a slip or two of the finger: short words that differ by half are other words
	for _, k := range known {
		if d := edits(key, k); d < least {
			best, least = k, d
		}
	}
	if best != "" {
		return "perhaps " + best + " is meant"
	}
	sorted := slices.Clone(known)
	slices.Sort(sorted)
	return "known are " + strings.Join(slices.Compact(sorted), ", ")
}

// shortestBegun bounds what a word is known by that is only begun, letters. Choice: "as" or "no" begin by chance.
const shortestBegun = 4

// begun is the only one of the known words that begins with a word; empty where there is none, or several.
func begun(word string, known []string) (whole string) {
	for _, k := range known {
		if len(word) < shortestBegun || !strings.HasPrefix(k, word) || k == whole {
			continue
		}
		if whole != "" {
			return ""
		}
		whole = k
	}
	return whole
}

// edits counts the letters to change, add or drop between two words.
// Source: Levenshtein, Soviet Physics Doklady 10 (1966) 707; the row-by-row way of Wagner & Fischer, J. ACM 21 (1974) 168.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		left := row[0]
		row[0] = i + 1
		for j := range len(b) {
			swap := left
			if a[i] != b[j] {
				swap++
			}
			left = row[j+1]
			row[j+1] = min(swap, left+1, row[j]+1)
		}
	}
	return row[len(b)]
}

// number reads a number that has to be there.
func (r *reader) number(key string, s span) float64 {
	n := r.needs(key, s.String, "write the number alone")
	if n == nil {
		return 0
	}
	return r.numberOf(n, r.key(key), s)
}

// numberOr reads a number that may be left out.
func (r *reader) numberOr(key string, s span, otherwise float64) float64 {
	n := r.take(key)
	if n == nil {
		return otherwise
	}
	return r.numberOf(n, r.key(key), s)
}

func (r *reader) numberOf(n *node, key string, s span) float64 {
	v, ok := aNumber(n)
	switch {
	case !ok:
		r.f.add(n, key, s.String(), n.says(), misread(n, key))
	case !s.holds(v):
		r.f.add(n, key, s.String(), n.text, s.remedy(v))
	default:
		s.look(r.f, n, key, v)
		return v
	}
	return 0
}

// misread says what is wrong with what stands where the number of a key should.
func misread(n *node, key string) string {
	value, _, stated := strings.Cut(strings.NewReplacer("+/-", "±", "+-", "±").Replace(n.text), "±")
	point, whole := strings.Replace(n.text, ",", ".", 1), strings.ReplaceAll(n.text, ",", "")
	angle, isAngle := angleRemedy(n.text, key)
	minus := strings.ReplaceAll(n.text, "\u2212", "-")
	switch word := strings.ToLower(strings.TrimLeft(n.text, "+-.")); {
	case n.kind != scalar || n.quoted:
	case minus != n.text && isNumber(minus):
		return "write the minus sign of a keyboard: " + minus
	case isAngle:
		return angle
	case thousands.MatchString(n.text) && isNumber(point):
		return fmt.Sprintf("write a point before the decimals: %s; or, if the comma parts the thousands, %s", point, whole)
	case thousands.MatchString(n.text):
		return "write it without the commas: " + whole
	case point != n.text && isNumber(point):
		return "write a point before the decimals: " + point
	case stated && isNumber(strings.TrimSpace(value)):
		return "write the number alone: only lengths of the tape carry a reading error"
	case word == "nan" || word == "inf":
		return "it must be a number: measure it"
	}
	return "write the number alone, without unit or quotation marks"
}

// thousands is a number whose digits commas part in threes.
var thousands = regexp.MustCompile(`^[+-]?[1-9]\d{0,2}(,\d{3})+$`)

// optional reads a number that may be left out; nil where it is.
func (r *reader) optional(key string, s span) *float64 {
	if n := r.take(key); n != nil {
		v := r.numberOf(n, r.key(key), s)
		return &v
	}
	return nil
}

// numbers reads a list of so many numbers.
func (r *reader) numbers(n *node, key string, s span, count int) []float64 {
	if n == nil {
		return nil
	}
	if n.kind != list || len(n.items) != count {
		got := n.says()
		if n.kind == list {
			got = fmt.Sprintf("a list of %d", len(n.items))
		}
		r.f.add(n, key, s.times(count)(), got, "write them in brackets with commas between")
		return nil
	}
	before := len(r.f.all)
	var out []float64
	for i, c := range n.items {
		out = append(out, r.numberOf(c, join(key, strconv.Itoa(i+1)), s))
	}
	if len(r.f.all) > before {
		return nil
	}
	return out
}

// axes reads a pair of angles, axis 1 first, that has to be there.
func (r *reader) axes(key string, s span) Axes {
	n := r.needs(key, s.times(2), "axis 1 first, then axis 2")
	return pose(r.numbers(n, r.key(key), s, 2))
}

// axesOr reads a pair of angles that may be left out.
func (r *reader) axesOr(key string, s span, otherwise Axes) Axes {
	n := r.take(key)
	if n == nil {
		return otherwise
	}
	return pose(r.numbers(n, r.key(key), s, 2))
}

func pose(v []float64) Axes {
	if v == nil {
		return Axes{}
	}
	return DegAxes(v[0], v[1])
}

// word reads one of a few words.
func (r *reader) word(key string, words ...string) string {
	n := r.need(key, oneOf(words), "choose one")
	return r.wordOf(n, r.key(key), words)
}

// wordOr reads one of a few words, or leaves it at the first of them.
func (r *reader) wordOr(key string, words ...string) string {
	n := r.take(key)
	if n == nil {
		return words[0]
	}
	return r.wordOf(n, r.key(key), words)
}

func (r *reader) wordOf(n *node, key string, words []string) string {
	if n == nil {
		return ""
	}
	if n.kind != scalar || !slices.Contains(words, n.text) {
		r.f.add(n, key, oneOf(words), n.says(), nearest(n.text, words))
		return ""
	}
	return n.text
}

func oneOf(words []string) string {
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// yes reads yes or no that has to be there. Which of the two a misspelt word means is not guessed.
func (r *reader) yes(key string) bool {
	n := r.need(key, "yes or no", "choose one")
	if n == nil {
		return false
	}
	word := map[string]string{"yes": "yes", "true": "yes", "no": "no", "false": "no"}[n.text]
	if n.kind != scalar || word == "" {
		r.f.add(n, r.key(key), "yes or no", n.says(), "write one of the two")
		return false
	}
	n.text = word // as the digest has it: the same rig however it is written
	return word == "yes"
}

// yesOr reads yes or no that may be left out.
func (r *reader) yesOr(key string, otherwise bool) bool {
	if !r.has(key) {
		return otherwise
	}
	return r.yes(key)
}

// longestName bounds names and titles. Choice: what fits a line of a report.
const longestName = 80

// name reads one line of text that has to be there.
func (r *reader) name(key string) string {
	return r.nameOf(r.need(key, "a name of one line", "use the words that a person would use"), r.key(key))
}

func (r *reader) nameOf(n *node, key string) string {
	if n == nil {
		return ""
	}
	bad := n.kind != scalar || !utf8.ValidString(n.text) || utf8.RuneCountInString(n.text) > longestName || strings.TrimSpace(n.text) != n.text || n.text == ""
	if bad || strings.ContainsFunc(n.text, func(c rune) bool { return !unicode.IsPrint(c) }) {
		r.f.add(n, key, fmt.Sprintf("a name of one line, at most %d letters, no spaces around it", longestName), n.says(), "use the words that a person would use")
		return ""
	}
	return n.text
}

// block opens a block of keys that may be left out; has tells whether it is there.
func (r *reader) block(key string) (b *reader, has bool) {
	n := r.take(key)
	return r.blockOf(n, r.key(key)), n != nil
}

// needBlock opens a block of keys that has to be there.
func (r *reader) needBlock(key, remedy string) *reader {
	return r.blockOf(r.need(key, "a block of keys", remedy), r.key(key))
}

func (r *reader) blockOf(n *node, key string) *reader {
	if n != nil && n.kind != mapping {
		r.f.add(n, key, "a block of keys", n.says(), "indent its keys below it")
		n = nil
	}
	return &reader{f: r.f, at: n, path: key}
}

// list opens a list of at most so many entries that may be left out.
func (r *reader) list(key string, most int) []*node {
	return r.listOf(r.take(key), r.key(key), most)
}

func (r *reader) listOf(n *node, key string, most int) []*node {
	if n == nil {
		return nil
	}
	if n.kind != list || len(n.items) > most {
		got := n.says()
		if n.kind == list {
			got = fmt.Sprintf("%d entries", len(n.items))
		}
		r.f.add(n, key, fmt.Sprintf("a list of at most %d entries", most), got, "begin each entry with a dash, or write [ ]")
		return nil
	}
	return n.items
}

// item names entry i of a list, counted from 0, for faults.
func (r *reader) item(key string, i int) string { return join(r.key(key), strconv.Itoa(i+1)) }

// short writes a number with at most three decimals and no trailing zeros.
func short(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}
