package rules

import (
	"context"
	"io/fs"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Subject is what the rules need to know of a question to see which of them apply.
type Subject struct {
	Action string   // slew, retreat, sync, track, jog, creep, home, park or flip; any other word is judged by every rule
	Traits []string // of the question: sky_target (a slew to a place on the sky), tracks (tracking follows)
	Lacks  []string // equipment that the rig declares it does not have: roof, neighbours, drag
}

// Set is the rules of one revision bound to one set of limits. It is safe for concurrent use.
type Set struct {
	lib   *library
	bound *binding
}

// Read reads the rules of the policies folder (rules/, schema/) and binds them to limits. What does not fit is refused, all
// faults at once as Faults inside the error: a damaged file, a rule outside the shape, a built-in that rules may not use, a
// fact that the schema does not know, a required rule that is not there, a limit that is not there. Until Prove each rule is asked of OPA in
// full, which gives the same findings and takes about a millisecond for all of them, instead of some 30 µs.
func Read(policies fs.FS, lim limits.Set) (*Set, error) {
	u, err := ReadUnbound(policies)
	if err != nil {
		return nil, err
	}
	return u.With(lim)
}

// Unbound are rules that are bound to no limits yet.
type Unbound struct{ lib *library }

// ReadUnbound is what of Read needs no limits.
func ReadUnbound(policies fs.FS) (Unbound, error) {
	lib, err := load(policies, true)
	return Unbound{lib}, err
}

// With is the rest of Read.
func (u Unbound) With(lim limits.Set) (*Set, error) { return u.lib.withLimits(lim) }

// Load is Read and Prove.
func Load(policies fs.FS, lim limits.Set) (*Set, error) {
	s, err := Read(policies, lim)
	if err == nil {
		err = s.Prove()
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

// Prove works out the fast way for these limits, once, however often it is called, and holds it against the rules' full evaluation: some ten
// milliseconds. Questions may be judged meanwhile. On an error, Faults inside it, they are asked in full from then on as before, and the rules at
// fault hold where they would pass.
func (s *Set) Prove() error { return s.lib.prove(context.Background(), s.bound) } // bounded work on our own files

// With returns the same rules bound to other limits, proven if these are; what was worked out before for equal limits is used again.
func (s *Set) With(lim limits.Set) (*Set, error) {
	out, err := s.lib.withLimits(lim)
	if err == nil && s.bound.conditions.Load() != nil {
		err = out.Prove()
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (l *library) withLimits(lim limits.Set) (*Set, error) {
	b, err := l.bind(lim)
	if err != nil {
		return nil, err
	}
	return &Set{lib: l, bound: b}, nil
}

// Judge returns one finding for every loaded rule and a hold for every required rule that is not loaded, by id. at is the
// instant of the question; rules see no other clock.
func (s *Set) Judge(ctx context.Context, sub Subject, f facts.Set, at time.Time) []verdict.Finding {
	in := s.lib.read(f)
	wanted := make([]bool, len(s.lib.rules))
	for i, r := range s.lib.rules {
		wanted[i] = r.applies(sub) == ""
	}
	answers := s.bound.ask(ctx, in, wanted, at)
	out := make([]verdict.Finding, 0, len(answers))
	for i, r := range s.lib.rules {
		if !wanted[i] {
			out = append(out, verdict.Finding{Rule: r.ID, Effect: verdict.NotApplicable, Code: r.applies(sub)})
			continue
		}
		out = append(out, s.finding(r, answers[i], sub.Action, in, f))
	}
	for _, id := range Required(sub) {
		if s.lib.find(id) == nil {
			out = append(out, notLoaded(id))
		}
	}
	slices.SortStableFunc(out, func(a, b verdict.Finding) int { return strings.Compare(a.Rule, b.Rule) })
	return out
}

// IDs returns the ids of the loaded rules in order.
func (s *Set) IDs() []string {
	ids := make([]string, 0, len(s.lib.rules))
	for _, r := range s.lib.rules {
		ids = append(ids, r.ID)
	}
	return ids
}

// Rules returns what the loaded rules say of themselves, by id.
func (s *Set) Rules() []Rule {
	out := make([]Rule, 0, len(s.lib.rules))
	for _, r := range s.lib.rules {
		out = append(out, r.Rule)
	}
	return out
}

// Facts returns the names of all facts that some rule reads, in order.
func (s *Set) Facts() []string {
	names := make([]string, 0, len(s.lib.facts))
	for _, k := range s.lib.facts {
		names = append(names, k.name)
	}
	return names
}

// Digest names the rules and the schema as they were loaded, without limits.
func (s *Set) Digest() [32]byte { return s.lib.digest }

// Limits returns the limits that the rules are bound to.
func (s *Set) Limits() limits.Set { return s.bound.limits }
