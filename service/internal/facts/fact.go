package facts

import (
	"math"
	"sort"
	"time"
)

// Origin says where a fact comes from.
type Origin string

// Origins.
const (
	Measured Origin = "measured" // read from a sensor, by way of a sample
	Computed Origin = "computed" // worked out by the service
	Told     Origin = "told"     // claimed by the asker or a person
	Absent   Origin = "absent"   // nothing to compare with (not learnt yet, or declared lacking): the number counts as no error
)

// Fact is one computed number or word about a question. Exactly one of Number, Word, Truth is set, or Missing says why none is.
type Fact struct {
	Number  *float64   `json:"number,omitempty"` // finite, in the unit that the name ends with
	Word    *string    `json:"word,omitempty"`
	Truth   *bool      `json:"truth,omitempty"`
	Missing string     `json:"missing,omitempty"` // one phrase for a person
	Need    string     `json:"need,omitempty"`    // of a missing fact: what would supply it, a question.NeedKind
	Remedy  string     `json:"remedy,omitempty"`  // of a missing fact: what a person does about it; empty: what is usual for its need
	Origin  Origin     `json:"origin,omitempty"`
	About   []string   `json:"about,omitempty"`   // parts, axis, end or id that decided
	Instant *time.Time `json:"instant,omitempty"` // when along the motion
}

// Set is the facts of one question by name: lower_snake, the unit as suffix.
//
// Invariant: every fact is well-formed (see Put*); a name that is not in the set was not asked for.
type Set map[string]Fact

// Number puts a number; one that is not finite becomes a missing fact, so that it can never reach a rule.
func (s Set) Number(name string, v float64, o Origin, about ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		s[name] = Fact{Missing: "came out as no finite number", Origin: o, About: about}
		return
	}
	s[name] = Fact{Number: &v, Origin: o, About: about}
}

// At notes when along the motion a fact that was put happens; a fact that is missing happens never.
func (s Set) At(name string, t time.Time) {
	if f, ok := s[name]; ok && f.Number != nil {
		u := t.UTC()
		f.Instant = &u
		s[name] = f
	}
}

// Word puts a word.
func (s Set) Word(name, v string, o Origin, about ...string) {
	s[name] = Fact{Word: &v, Origin: o, About: about}
}

// Truth puts a yes or no.
func (s Set) Truth(name string, v bool, o Origin, about ...string) {
	s[name] = Fact{Truth: &v, Origin: o, About: about}
}

// Lack puts a missing fact with the reason and what would supply it.
func (s Set) Lack(name, why, need string, about ...string) {
	s[name] = Fact{Missing: why, Need: need, Origin: Computed, About: about}
}

// LackFor is Lack with a remedy of its own.
func (s Set) LackFor(name string, l lack) {
	s[name] = Fact{Missing: l.why, Need: l.need, Remedy: l.remedy, Origin: Computed}
}

// lack is why something is not known, what would supply it, and what a person does about it, where that is not what is usual for the need.
type lack struct{ why, need, remedy string }

// below tells whether a fact is less than a least, or not known; above whether it is more than a most, or not known.
func (s Set) below(name string, least float64) bool {
	v := s[name].Number
	return v == nil || *v < least
}

func (s Set) above(name string, most float64) bool {
	v := s[name].Number
	return v == nil || *v > most
}

// Names returns the names in order.
func (s Set) Names() []string {
	out := make([]string, 0, len(s))
	for n := range s {
		out = append(out, n)
	}
	sort.Strings(out)
	return out
}
