package rig

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// ErrState is the class of states that no part has.
var ErrState = errors.New("no such state of a part")

// ReadState reads a state as a person writes it: "roof=open", "focuser=35" or "focuser=35mm" in the part's own unit.
func (r *Rig) ReadState(text string) (PartState, error) {
	part, state, ok := strings.Cut(text, "=")
	out := PartState{Part: strings.TrimSpace(part), Name: strings.TrimSpace(state)}
	if !ok || out.Name == "" {
		return PartState{}, fmt.Errorf("%w: %q; write a part and its state, roof=open, or a number in its unit, focuser=35", ErrState, text)
	}
	if i := r.part(out.Part); i >= 0 && len(r.Parts[i].States) > 0 && r.Parts[i].States[0].Measured != "" {
		v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(out.Name, r.Parts[i].States[0].Measured)), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return PartState{}, fmt.Errorf("%w: %q; write a number, in %s", ErrState, text, r.Parts[i].States[0].Measured)
		}
		out.Name, out.Measure, out.Unit = "", &v, r.Parts[i].States[0].Measured
	}
	return out, r.HasState(out)
}

// HasState is an error of class ErrState where the rig has no such part, or the part no such state: taken as they stand, they would count as all of its
// states at once.
func (r *Rig) HasState(s PartState) error {
	i := r.part(s.Part)
	switch {
	case i < 0 || len(r.Parts[i].States) == 0:
		return fmt.Errorf("%w: %q; parts with states are: %s", ErrState, s.Part, orNone(r.withStates()))
	case s.Measure == nil && r.Parts[i].States[0].Measured != "":
		unit := r.Parts[i].States[0].Measured
		return fmt.Errorf("%w: %s; write a number with its unit, %s=35%s; its states are: %s", ErrState, s, s.Part, unit, r.Parts[i].StateWords())
	case len(r.Parts[i].fitting([]PartState{s})) == 0:
		return fmt.Errorf("%w: %s; its states are: %s", ErrState, s, r.Parts[i].StateWords())
	}
	return nil
}

// StateUnknown tells whether a report about a part that has states names none of them: the part then takes up all of them.
func (r *Rig) StateUnknown(s PartState) bool {
	i := r.part(s.Part)
	return i >= 0 && len(r.Parts[i].States) > 0 && r.HasState(s) != nil
}

// Stateless tells whether a report is about a part that has no states in the rig file: it counts as it is there, whatever is reported.
func (r *Rig) Stateless(s PartState) bool {
	i := r.part(s.Part)
	return i >= 0 && len(r.Parts[i].States) == 0
}

// Unjudged names the first part that what is reported leaves in a state which the report judged did not, with what each of the two says of it; no part: there
// is none. What was judged in all of its states may be in any.
func (r *Rig) Unjudged(judged, reported []PartState) (part, was, is string) {
	for i := range r.Parts {
		p := &r.Parts[i]
		open := p.possible(judged)
		for _, s := range p.possible(reported) {
			if !slices.ContainsFunc(open, func(o State) bool { return o.String() == s.String() }) {
				return p.Name, p.told(judged), p.told(reported)
			}
		}
	}
	return "", "", ""
}

// told is what a report says of the part, in words; empty: nothing.
func (p *Part) told(reported []PartState) string {
	var out []string
	for _, s := range reported {
		if s.Part == p.Name {
			out = append(out, s.String())
		}
	}
	return strings.Join(out, " and ")
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none of this rig's parts"
	}
	return strings.Join(names, ", ")
}

func (r *Rig) withStates() (out []string) {
	for _, p := range r.Parts {
		if len(p.States) > 0 {
			out = append(out, p.Name)
		}
	}
	return out
}

// String writes a state in words.
func (s PartState) String() string {
	if s.Measure != nil {
		return s.Part + " at " + measure(*s.Measure, s.Unit)
	}
	return s.Part + " " + s.Name
}

func measure(v float64, unit string) string {
	if unit == "deg" {
		return short(v) + "°"
	}
	return short(v) + " " + unit
}

// String writes a state in words.
func (s State) String() string {
	if s.Measured != "" {
		return short(s.Low) + " to " + measure(s.High, s.Measured)
	}
	return s.Name
}

// StateWords lists the states of a part in words.
func (p *Part) StateWords() string {
	var out []string
	for _, s := range p.States {
		out = append(out, s.String())
	}
	return strings.Join(out, "; ")
}

// AllAtOnce names the parts that take up several of their states at once, since what is reported leaves these open, each with its states.
func (r *Rig) AllAtOnce(reported []PartState) (out []string) {
	for i := range r.Parts {
		if p := &r.Parts[i]; len(p.possible(reported)) > 1 {
			out = append(out, p.Name+" ("+p.StateWords()+")")
		}
	}
	return out
}
