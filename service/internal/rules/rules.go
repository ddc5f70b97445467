package rules

import (
	"context"
	"errors"
	"io/fs"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Subject is what the rules need to know of a question to see which of them apply.
type Subject struct {
	Action string   // slew, retreat, sync, track, jog, home, park or flip
	Traits []string // of the question: sky_target (a slew to a place on the sky), tracks (tracking follows)
	Lacks  []string // equipment that the rig declares it does not have: roof, neighbours, drag
}

// Set is the rules of one revision bound to one set of limits. It is safe for concurrent use.
type Set struct{}

// Load reads the rules below rules/ of the policies and binds them to the limits.
func Load(policies fs.FS, lim limits.Set) (*Set, error) { return nil, errors.New("not written yet") }

// With returns the same rules bound to other limits; what was worked out before for equal limits is used again.
func (s *Set) With(lim limits.Set) (*Set, error) { return nil, errors.New("not written yet") }

// Judge returns one finding for every loaded rule, by id, and a hold for every required rule that is not loaded.
func (s *Set) Judge(ctx context.Context, sub Subject, f facts.Set, at time.Time) []verdict.Finding {
	return nil
}

// IDs returns the ids of the loaded rules in order.
func (s *Set) IDs() []string { return nil }

// Digest names the rules as they were loaded, without limits.
func (s *Set) Digest() [32]byte { return [32]byte{} }

// Required returns the ids of the rules that must have judged, and passed, before such a question may be allowed.
func Required(sub Subject) []string { return nil }
