package wire

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// maxFaults bounds the list that one request can cause: a message of junk may hold half a million unknown fields, and nobody
// reads more than this. Common practice, no source.
const maxFaults = 100

// FieldFault is one thing wrong with one place of a request.
type FieldFault struct {
	// Path names the field as the proto files do: "action.slew.sky.ra_deg", "sample.readings[1].axes"; an unknown field by its
	// number: "action.slew.#77". Empty: the request as a whole.
	Path   string
	Reason keepclearv1.ErrorReason
	Wanted string // one phrase
	Got    string // one phrase, one line, bounded
	Remedy string // one sentence without its full stop
}

// String returns the fault as one sentence for a person.
func (f FieldFault) String() string {
	where := f.Path
	if where == "" {
		where = "request"
	}
	return fmt.Sprintf("%s: wanted %s, got %s; %s", where, f.Wanted, f.Got, f.Remedy)
}

// Faults is everything wrong with one request, sorted by path, at most one of a path and reason. Empty: nothing is wrong.
type Faults []FieldFault

// Error returns all faults as sentences on one line, fit for a log.
func (fs Faults) Error() string {
	all := make([]string, len(fs))
	for i, f := range fs {
		all[i] = f.String()
	}
	return strings.Join(all, ". ")
}

// Reason returns the one reason to report for all of them: what a client must mend first. No fault: UNSPECIFIED.
func (fs Faults) Reason() keepclearv1.ErrorReason {
	worst := keepclearv1.ErrorReason_ERROR_REASON_UNSPECIFIED
	for _, f := range fs {
		if rank(f.Reason) > rank(worst) {
			worst = f.Reason
		}
	}
	return worst
}

// rank orders the reasons: a fault of ours before all, then what makes the other faults of the list doubtful.
func rank(r keepclearv1.ErrorReason) int {
	order := []keepclearv1.ErrorReason{
		keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID,
		keepclearv1.ErrorReason_ERROR_REASON_FIELD_REPEATED,
		keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN,
		keepclearv1.ErrorReason_ERROR_REASON_TOO_MUCH,
		keepclearv1.ErrorReason_ERROR_REASON_BUG,
	}
	return slices.Index(order, r)
}

// tidy sorts, keeps of each path the fault that explains most, and cuts the list at maxFaults, saying so.
func tidy(fs Faults) Faults {
	slices.SortStableFunc(fs, func(a, b FieldFault) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(rank(b.Reason), rank(a.Reason)))
	})
	fs = slices.CompactFunc(fs, func(a, b FieldFault) bool { return a.Path == b.Path })
	if len(fs) <= maxFaults {
		return fs
	}
	rest := len(fs) - maxFaults + 1
	return append(fs[:maxFaults-1:maxFaults-1], FieldFault{
		Reason: fs.Reason(), Wanted: "a request that can be read",
		Got: strconv.Itoa(rest) + " more faults or more", Remedy: "mend those named and send it again",
	})
}

// trail is the way from the request to a field. It is spelt out only when there is a fault to report.
type trail struct {
	up    *trail
	name  string
	index int // -1: a single field
}

// field returns the way on to a single field.
func (t *trail) field(name string) *trail { return &trail{up: t, name: name, index: -1} }

// element returns the way on to one element of a repeated field.
func (t *trail) element(name string, i int) *trail { return &trail{up: t, name: name, index: i} }

// String spells the way: "sample.readings[1].axes"; the empty word for the request itself.
func (t *trail) String() string {
	if t == nil {
		return ""
	}
	own := t.name
	if t.index >= 0 {
		own += "[" + strconv.Itoa(t.index) + "]"
	}
	if before := t.up.String(); before != "" {
		return before + "." + own
	}
	return own
}

// maxShown bounds what is repeated of a text in a message, in characters. Common practice, no source.
const maxShown = 40

// shown returns a text as it may stand in a message or a log: quoted, one line, at most maxShown characters of it.
func shown(s string) string {
	if runes := []rune(s); len(runes) > maxShown {
		return strconv.QuoteToASCII(string(runes[:maxShown])) + "…"
	}
	return strconv.QuoteToASCII(s)
}
