package main

import (
	"fmt"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
)

// describer describes the rules in force, with the limits as they bind a rig; without a rig, those of the facility. Nothing is
// loaded while the service runs in this version, so not_loaded_because stays empty, and nothing loosens for a time, so that no
// limit has an expiry.
func describer(members []decide.Member, facility *limits.Layer) func(string) (*pb.ListRulesResponse, error) {
	return func(name string) (*pb.ListRulesResponse, error) {
		var names []string
		for _, m := range members {
			names = append(names, m.Rig.ID)
			if m.Rig.ID == name {
				return described(m.Rules.(*rules.Set), m.Limits)
			}
		}
		if name != "" {
			return nil, decide.NoRig(name, names)
		}
		defs, err := limits.Read(policies.Files())
		if err != nil {
			return nil, err
		}
		return described(members[0].Rules.(*rules.Set), ofFacility(defs, facility))
	}
}

// limitSet finds a limit as it binds.
type limitSet interface {
	Limit(rule, name string) (limits.Limit, bool)
}

// facilityLimits are the defaults and what the facility made of them; what every rig states for itself is not among them.
type facilityLimits map[[2]string]limits.Limit

func (f facilityLimits) Limit(rule, name string) (limits.Limit, bool) {
	l, ok := f[[2]string{rule, name}]
	return l, ok
}

func ofFacility(defs []limits.Definition, facility *limits.Layer) facilityLimits {
	out := facilityLimits{}
	for _, d := range defs {
		if d.Default != nil {
			out[[2]string{d.Rule, d.Name}] = limits.Limit{Definition: d, Value: *d.Default, Origin: "default"}
		}
	}
	if facility == nil {
		return out
	}
	for _, e := range facility.Entries { // merged with every rig's at the start, so that each is a number and none too loose
		l := out[[2]string{e.Rule, e.Name}]
		l.Origin = facility.Name
		switch v := e.Value.(type) {
		case float64:
			l.Value = v
		case int:
			l.Value = float64(v)
		}
		out[[2]string{e.Rule, e.Name}] = l
	}
	return out
}

// described lists rules with their limits, and last the limits that no rule reads, which shape permits.
func described(set *rules.Set, in limitSet) (*pb.ListRulesResponse, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return nil, err
	}
	digest := set.Digest()
	out := &pb.ListRulesResponse{RulesSha256: digest[:]}
	for _, d := range set.Rules() {
		r := &pb.Rule{RuleId: d.ID, Title: d.Title, Description: d.Description, Actions: d.Actions, RequiredFor: d.RequiredFor, Needs: d.Needs}
		r.Limits = limitsOf(d.ID, defs, in)
		out.Rules = append(out.Rules, r)
	}
	permit := &pb.Rule{RuleId: "permit", Title: "What a permit bears", Description: "Limits that no rule compares with: they shape the permits that are given."}
	permit.Limits = limitsOf("permit", defs, in)
	out.Rules = append(out.Rules, permit)
	return out, nil
}

func limitsOf(rule string, defs []limits.Definition, in limitSet) []*pb.Limit {
	var out []*pb.Limit
	for _, d := range defs {
		if d.Rule != rule {
			continue
		}
		m := &pb.Limit{Name: d.Name, Bound: d.Bound, SmallerIsSafer: d.SmallerIsSafer, Origin: "every rig states its own"}
		if l, ok := in.Limit(d.Rule, d.Name); ok {
			m.Value, m.Origin = &l.Value, l.Origin
		}
		out = append(out, m)
	}
	return out
}

// changer is rpc's WhatIf: a rig's file, as it was read at the start, with changes, under the facility's limits. members were made of files, in
// their order. Class and meshes beside the file are read anew, and have to be what they were, or two rigs would be compared that differ in more
// than these.
func changer(files []rigFile, members []decide.Member, facility *limits.Layer) func(string, []rig.Change) (*rig.Rig, limits.Set, error) {
	type source struct {
		rigFile
		digest [32]byte
	}
	of := map[string]source{}
	for i, f := range files {
		of[members[i].Rig.ID] = source{f, members[i].Rig.Digest}
	}
	return func(name string, all []rig.Change) (*rig.Rig, limits.Set, error) {
		file := of[name]
		changed, open, err := rig.Changed(file.name, file.content, file.open, all...)
		if err != nil {
			return nil, limits.Set{}, err
		}
		if now, err := loaded(file.rigFile, ""); err != nil || now.Digest != file.digest {
			return nil, limits.Set{}, fmt.Errorf("%w: what lies beside %s is not what it was when the service started; start it anew", rig.ErrChange, file.name)
		}
		r, err := loaded(rigFile{name: file.name, content: changed, open: open}, rig.Together(all))
		if err != nil {
			return nil, limits.Set{}, err
		}
		set, err := limitsFit(r, facility, file.name)
		return r, set, err
	}
}
